"""Second instruments: which names say so, and which of two counts."""

import numpy as np
import pytest
from made_looks import look_of, minutes, wandering

from pipeline.places.evidence import seen_tags
from pipeline.places.lags import Lags, lag_min
from pipeline.places.points import POINT_NUMBER, POINTS
from pipeline.places.second import are_twins, better_of, same_but_number

SECOND = minutes(5.0)
SIZE = len(SECOND)
PH = POINTS[POINT_NUMBER["ph", "settler", "out"]]


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("AI212A", "AI212B", True), ("CJpH", "CJpHB", True), ("pH claro", "pH claro 2", True),
        ("ST.AI308", "ST.AI308_2", True), ("LI1153", "LI1306", False), ("TI201", "TI202", False),
        ("PT_3012", "PT_3037", False), ("x", "x", False),
    ],
)  # fmt: skip
def test_names_that_differ_by_what_counts(one, two, same):
    assert same_but_number(one, two) == same


def _seen(*values, names=("Probe", "Other"), bad=(0, 0)):
    looks = [
        look_of(name, SECOND, value, "pH", bad=b)
        for name, value, b in zip(names, values, bad, strict=True)
    ]
    return seen_tags(looks), Lags(looks)


def test_twins_agree_in_level_and_movement():
    truth = wandering(1, 7.0, 0.15, 0.0, SIZE, stay=0.98)
    rng = np.random.default_rng(2)
    near = truth + 0.1 + rng.normal(0.0, 0.005, SIZE)
    seen, lags = _seen(truth, near)
    assert are_twins(0, 1, PH, seen, lags, ("", ""))
    seen, lags = _seen(truth, near + 0.8)
    assert not are_twins(0, 1, PH, seen, lags, ("", ""))
    seen, lags = _seen(truth, wandering(3, 7.0, 0.15, 0.0, SIZE, stay=0.98))
    assert not are_twins(0, 1, PH, seen, lags, ("", ""))
    # What moves a quarter of an hour later stands further down.
    seen, lags = _seen(truth, np.roll(near, 15))
    assert not are_twins(0, 1, PH, seen, lags, ("", ""))


def test_the_better_counts():
    lively = wandering(1, 7.0, 0.15, 0.01, SIZE)
    dead = 7.0 + 0.2 * (lively - 7.0)
    seen, _ = _seen(dead, lively)
    assert better_of(seen[1], seen[0])
    seen, _ = _seen(lively, lively, bad=(SIZE, 0))
    assert better_of(seen[1], seen[0])
    seen, _ = _seen(lively, lively, names=("B probe", "A probe"))
    assert better_of(seen[1], seen[0])
    assert not better_of(seen[0], seen[1])


def test_a_delay_is_seen_in_the_changes():
    course = np.cumsum(np.random.default_rng(5).normal(0.0, 1.0, SIZE))
    first, later = (look_of("x", SECOND, v) for v in (course, np.roll(course, 7)))
    assert lag_min(first, later) == pytest.approx(7, abs=1)
    assert lag_min(later, first) == pytest.approx(-7, abs=1)
    other = look_of("x", SECOND, np.random.default_rng(6).normal(0.0, 1.0, SIZE))
    assert lag_min(first, other) == 0.0
