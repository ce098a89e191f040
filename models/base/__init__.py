"""Series of minutes and blocks, and the settings of a search."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.base.minutes import MINUTES_PER_BLOCK, Minutes, in_order, to_minutes
    from models.base.series import (
        LEAST_DIFFERENCES,
        LEAST_OF_HALF,
        Array,
        block_means,
        bridge_runs,
        long_run_variance,
        middle_of,
        nan_sum,
        robust_sd,
        robust_sds,
        running_median,
        runs_of,
    )
    from models.base.settings import Settings
    from models.base.smallest import smallest_finding_t
else:
    __getattr__ = handed_out(__name__, __file__)
