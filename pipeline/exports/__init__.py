"""Tables of any dialect as readings of a mill, every row counted."""

from pipeline.exports.evidence import Evidence
from pipeline.exports.export import export_readings
from pipeline.exports.layout import Plan, layout_for
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.quick import quick_pieces
from pipeline.exports.refused import (
    FOLDER,
    REFUSED_COLUMNS,
    ROWS_KEPT,
    Tally,
    read_refused,
    refused_frame,
    refused_name,
)
from pipeline.exports.survey import survey_export
