"""What is wrong with a store, and its cure; making room."""

from pipeline.care.health import as_json, examine, require_well, sign_lines
from pipeline.care.tidy import make_room
