"""Views of reports, filled from store and lake."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.present.filtrate import filtrate_line
    from pipeline.present.level import (
        LabState,
        lab_state,
        level_beware,
        state_of_series,
    )
    from pipeline.present.levers import (
        season_levers,
        shown_levers,
    )
    from pipeline.present.night import (
        write_night_report,
    )
    from pipeline.present.tongues import in_language, languages_of, tongue_for
    from pipeline.present.view import (
        write_season_report,
    )
    from pipeline.present.week import (
        write_week_report,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
