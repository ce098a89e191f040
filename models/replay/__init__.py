"""What a period would have lost otherwise: tonnes with intervals, costs, what the mill has run."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.replay.costs import Cost, costs_of, settles_badly_pct
    from models.replay.error import FORM, saving_with_interval
    from models.replay.levers import (
        PH_STEPS,
        PIECE_COLUMNS,
        PhRange,
        Step,
        best_first,
        ph_range,
        piece_rows,
        realistic_steps,
        step_of_season,
    )
    from models.replay.ranges import Ran, beyond_formulas, course_of, outside, ran_of
    from models.replay.saving import Saving, ZoneSaving, saving_of
else:
    __getattr__ = handed_out(__name__, __file__)
