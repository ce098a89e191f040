"""How a table is laid out: which column holds what, and how its cells are written."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.layouts.columns import is_tag_heading, is_unit_heading, value_heading
    from pipeline.layouts.headings import bracket_of, is_statistic, split_heading, unit_behind
    from pipeline.layouts.kinds import Kind, kind_of
    from pipeline.layouts.layout import Plan, Quality, layout_for, plan_for
    from pipeline.layouts.pairs import pairs_in
    from pipeline.layouts.qualities import QualityFinder, without_qualities
    from pipeline.layouts.split_numbers import require_whole_numbers
    from pipeline.layouts.stamps import Setting
    from pipeline.layouts.when import When, joined_time, when_for
    from pipeline.layouts.zone_rows import moments_by_zone
    from pipeline.layouts.zones_said import check_line
else:
    __getattr__ = handed_out(__name__, __file__)
