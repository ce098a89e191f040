"""How fast this mill's own juice inverts: one joint estimate from all its analyses."""

from models.level.level import Level, zone_shares
from models.level.solve import fit_level, level_samples
from models.level.told import COURSE_COLUMNS, METHOD_COLUMNS, course_of, methods_of
