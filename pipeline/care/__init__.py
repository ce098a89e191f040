"""What is wrong with a store, and its cure; making room."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.care.health import as_json, examine, require_well, sign_lines
    from pipeline.care.tidy import make_room
else:
    __getattr__ = handed_out(__name__, __file__)
