"""Readings screened and put on a one-minute grid."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.signal.counts import QUALITY_COLUMNS, quality_counts
    from features.signal.grid import to_grid
    from features.signal.health import (
        SENSOR_DAY_COLUMNS,
        Drift,
        judge_sensor,
        sensor_day,
        sensor_days,
    )
    from features.signal.quality import screen, screen_by_tag
    from features.signal.second import (
        SECOND_DAY_COLUMNS,
        disagreement,
        drift_beside,
        second_day,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
