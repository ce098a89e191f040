"""Reports as HTML that needs nothing else, its PDF and plain text, from frozen views."""

from pipeline.report.groups import chance_words, mark_words
from pipeline.report.pdf import write_pdf
from pipeline.report.settling import own_of, settlers_of, settling_days
from pipeline.report.shifts import shift_lengths, shift_sums
from pipeline.report.tables import FindingRow, finding_rows
from pipeline.report.view import (
    REQUIRED_COLUMNS,
    Gap,
    Multiplier,
    NightView,
    ReportView,
    RunHealth,
    WeekView,
)
from pipeline.report.write import write_night, write_report, write_week
