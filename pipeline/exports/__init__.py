"""Tables of any dialect as readings of a mill, every row counted."""

from pipeline.exports.evidence import Evidence
from pipeline.exports.export import export_readings
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.quick import quick_pieces
from pipeline.exports.survey import survey_export
