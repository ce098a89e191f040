"""How fast this mill's own juice inverts: one joint estimate from all its analyses."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.level.expect import expected_log_sd
    from models.level.level import Level, zone_shares
    from models.level.samples import Kind, Samples, sample_sd
    from models.level.solve import compared, fit_level, level_samples, told_by
    from models.level.told import (
        COURSE_COLUMNS,
        EVERY_POINT,
        METHOD_COLUMNS,
        course_of,
        methods_of,
    )
    from models.level.ways import Ways
else:
    __getattr__ = handed_out(__name__, __file__)
