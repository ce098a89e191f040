"""Tables of any dialect as readings of a mill, every row counted."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.exports.evidence import Evidence
    from pipeline.exports.export import export_readings
    from pipeline.exports.moment_rows import MillClock
    from pipeline.exports.quick import quick_pieces
    from pipeline.exports.survey import survey_export
else:
    __getattr__ = handed_out(__name__, __file__)
