"""The stages of a run: read, call the pure part, write."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.stages.calendar import keep_calendar, keep_note, note_lines, take_back_note
    from pipeline.stages.days import blocks_reached, days_of, work_out
    from pipeline.stages.glance import (
        Extremes,
        joined_extremes,
        keep_season,
        kept_hours,
        kept_readings,
    )
    from pipeline.stages.glance_days import (
        COARSE_MIN,
        DAY_MIN,
        Day,
        extremes_of,
        hours_marks,
        hours_of_days,
        minutes_of_days,
        readings_marks,
    )
    from pipeline.stages.identity import versions_here
    from pipeline.stages.rot import Mended, lines_of, mend, mend_days_of, mending, told_of_rot
    from pipeline.stages.search_results import (
        level_course,
        owned_findings,
        season_days,
        season_rows,
        uncalibrated_channels,
    )
    from pipeline.stages.search_windows import SearchWindow, plan
    from pipeline.stages.sensors import sensors_to_look_at
    from pipeline.stages.stages import Judged, derive, detect, finding_row, pull, search
else:
    __getattr__ = handed_out(__name__, __file__)
