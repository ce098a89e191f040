"""Reports as HTML that needs nothing else, its PDF and plain text, from frozen views."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.report.days import (
        joined,
        microbes_within,
        with_microbes,
    )
    from pipeline.report.groups import (
        chance_words,
        mark_words,
    )
    from pipeline.report.levers import (
        LeverShown,
        SeasonLevers,
        lever_lines,
        lever_rows,
    )
    from pipeline.report.pages import (
        write_text,
    )
    from pipeline.report.pdf import (
        write_pdf,
    )
    from pipeline.report.settling import (
        own_of,
        settlers_of,
        settling_days,
    )
    from pipeline.report.shifts import (
        shift_lengths,
        shift_sums,
    )
    from pipeline.report.tables import (
        FindingRow,
        finding_rows,
    )
    from pipeline.report.view import (
        REQUIRED_COLUMNS,
        Estimate,
        Gap,
        Multiplier,
        NightView,
        ReportView,
        RunHealth,
        WeekView,
    )
    from pipeline.report.write import (
        write_night,
        write_report,
        write_week,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
