"""How many of the findings shown are chance, in words."""

from datetime import UTC, datetime
from types import SimpleNamespace

import polars as pl

from pipeline.base import Window
from pipeline.desk.events import _chance_words

SEASON = Window(datetime(2025, 10, 6, tzinfo=UTC), datetime(2025, 12, 1, tzinfo=UTC))
MILL = SimpleNamespace(false_findings_per_week=0.5)
KNOWN = SimpleNamespace(uncalibrated=pl.DataFrame())


def words(shares):
    rows = [{"q_value": q} for q in shares]
    return str(_chance_words(rows, len(rows), KNOWN, MILL, SEASON))


def test_no_more_are_chance_than_lie_outside_the_strict_list_and_its_own_share():
    # By the least sure one alone it were 0.25 x 24 = 6.0.
    told = words([0.0125] * 22 + [0.2, 0.25])
    assert "up to 2.3 of the 24 findings shown are chance, 0.3 of the 22 on the strict" in told
    assert "set to list about 4.0 by chance in as many weeks" in told


def test_without_a_strict_list_the_least_sure_one_bounds_all():
    assert "up to 1.2 of the 3 findings shown are chance; the" in words([0.3, 0.35, 0.4])
