"""What the text of one cell says: a number, a moment, a quality."""

from pipeline.cells.formats import time_formats
from pipeline.cells.numbers import Marks, number_marks, to_numbers
from pipeline.cells.quality import quality_kind, verdict
from pipeline.cells.times import EPOCHS, SERIAL, latest_moment, moments
from pipeline.cells.zones import local_to_utc, repeated
