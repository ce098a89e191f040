"""Series of a laboratory: told by how often they come, named by their words, none claimed twice."""

import numpy as np
import pytest
from drafts import tag

from pipeline.describe.lab import guess_lab, lab_series
from pipeline.places import TagLook

HOUR = 3600.0


def series(name, unit="", *, every_h=4.0, middle=7.0, twice=False, words=""):
    """A series as exports show it; twice: two results of each moment."""
    look = tag(name, unit, middle=middle, n=60, every_s=every_h * HOUR, words=words)
    moments = np.repeat(60.0 * look.minute, 2) if twice else 60.0 * look.minute
    every_s = 0.0 if twice else look.every_s
    return TagLook(
        name, unit, len(moments), 0, every_s, look.low, look.middle, look.high, look.minute,
        look.count, look.value, moments, np.repeat(look.value, 2 if twice else 1), words,
    )  # fmt: skip


def one(*args, **more):
    (guess,) = guess_lab([series(*args, **more)])
    return guess


@pytest.mark.parametrize(
    ("every_h", "by_hand", "made"),
    [(4.0, (), True), (0.2, (), False), (0.2, ("a",), True), (0.01, ("a",), False)],
)
def test_a_person_makes_what_comes_seldom_or_stands_in_a_book(every_h, by_hand, made):
    assert (lab_series([series("a", every_h=every_h)], by_hand, {}) == {"a"}) is made


def test_two_results_of_each_sample_come_no_more_often():
    assert lab_series([series("a", twice=True)], (), {}) == {"a"}


def test_an_instrument_that_seldom_changes_is_none_of_the_laboratory():
    tags = [series("a", every_h=0.01), series("b", every_h=0.01), series("c", every_h=6.0)]
    assert lab_series(tags, (), dict.fromkeys("abc", "file")) == set()
    assert lab_series(tags, (), {"a": "f", "b": "f", "c": "g"}) == {"c"}


def test_a_name_that_says_laboratory():
    assert lab_series([series("LAB pH", every_h=0.01)], (), {}) == {"LAB pH"}


def test_analysis_and_point_are_named():
    guess = one("Clear juice pH", middle=6.9)
    assert (guess.analyte, guess.place, guess.port) == ("ph", "settler", "out")


def test_the_book_speaks_where_the_series_does_not():
    (guess,) = guess_lab([series("pH")], (), {"pH": "Clear juice book"})
    assert (guess.place, guess.port) == ("settler", "out")
    assert "in the name of the book" in guess.why


@pytest.mark.parametrize(
    ("name", "unit", "why"),
    [
        ("Clear juice", "", "no analysis"),
        ("pH", "", "no sampling point"),
        ("Clear juice pH", "m3/h", "no unit of ph"),
    ],
)
def test_what_the_name_does_not_say_is_left_open(name, unit, why):
    guess = one(name, unit)
    assert (guess.analyte, guess.place) == (None, None)
    assert why in guess.why


def test_a_place_is_claimed_once():
    first, second = guess_lab([series("Clear juice pH"), series("Jugo claro pH")])
    assert first.place == "settler"
    assert second.place is None
    assert '"Clear juice pH"' in second.why


def test_several_juices_in_one_column_are_left_out():
    (guess,) = guess_lab([series("Clear juice pH")], ["Clear juice pH"])
    assert guess.analyte is None
    assert "several juices" in guess.why


@pytest.mark.parametrize(
    ("every_h", "period_h"), [(8.0, 8.0), (24.0, 24.0), (48.0, 48.0), (24.0 * 90, 24.0 * 31)]
)
def test_composites_are_as_long_as_the_time_between_them(every_h, period_h):
    """A description holds composites of a month at most."""
    guess = one("Clear juice RS composite", middle=0.5, every_h=every_h)
    assert guess.period_h == period_h
    assert one("Clear juice RS", middle=0.5, every_h=every_h).period_h == 0.0


def test_a_grab_may_stand_beside_a_composite_of_the_same():
    found = guess_lab(
        [series("Clear juice RS grab"), series("Clear juice RS composite", every_h=24.0)]
    )
    assert [g.place for g in found] == ["settler", "settler"]


def test_what_reducing_sugars_are_a_share_of():
    assert one("Clear juice RS % brix", "%", middle=3.0).basis == "solids"
    assert one("Clear juice RS", "% on brix", middle=3.0).basis == "solids"
    assert one("Clear juice RS", "%", middle=0.5).basis == "juice"
