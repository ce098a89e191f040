"""Marks for a search against planted losses, beside naive rules."""

from models.judge.card import Scorecard, figures, pooled
from models.judge.naive_rules import (
    PH_ALARM,
    Rule,
    at_random,
    fixed_limits,
    flag_everything,
    forest_on_raw_tags,
    hints_of,
    quarter_hours,
    report_nothing,
    three_sigma_per_tag,
    usual_limits,
)
from models.judge.nightly import NightlyList, as_it_stood
from models.judge.noises import NOISES, draw_noise
from models.judge.null_card import (
    KEPT_TIMES,
    SHAPES,
    WEEK_MIN,
    Rate,
    Seen,
    ideal_scores,
    p_values,
    plant,
    seen_of,
    stretches,
)
from models.judge.null_lines import (
    NULL_LEGEND,
    SMALL_P,
    NullLine,
    Searched,
    null_figures,
    null_head,
    null_text,
    search_noise,
    search_series,
)
from models.judge.scorecard import score
from models.judge.text import (
    as_line,
    as_text,
    causes_as_text,
    parts_as_text,
    traits_as_text,
)
from models.judge.traits import by_trait, microbial_by_lactic
