"""How a table is laid out: which column holds what, and how its cells are written."""

from pipeline.layouts.headings import bracket_of, is_statistic, split_heading, unit_behind
from pipeline.layouts.layout import Plan, Quality, layout_for, plan_for
from pipeline.layouts.qualities import QualityFinder, without_qualities
from pipeline.layouts.split_numbers import require_whole_numbers
from pipeline.layouts.stamps import Setting
from pipeline.layouts.when import joined_time
from pipeline.layouts.zone_rows import moments_by_zone
from pipeline.layouts.zones_said import check_line
