"""Several values of one series at one moment: one sample analysed twice, or several juices."""

import polars as pl
import pytest
from small_books import book_rows, looked_at, put

from pipeline.intake.twice import series_twice


def frame(gaps, spread=1.0):
    """A series that wanders over `spread`, with two values this far apart at each moment."""
    rows = []
    for k, gap in enumerate(gaps):
        level = 7.0 + spread * (k % 10) / 10.0
        rows += [(str(k), f"{level}"), (str(k), f"{level + gap}")]
    return pl.DataFrame(rows, schema=["at", "pH"], orient="row")


@pytest.mark.parametrize(
    ("gap", "pooled", "repeats"),
    [(0.05, (), ("pH",)), (1.5, ("pH",), ()), (0.0, (), ())],
)
def test_how_far_apart_two_values_lie_tells(gap, pooled, repeats):
    rows = frame([gap] * 40)
    assert series_twice(rows, rows["at"], (), ["pH"], long=False) == (pooled, repeats)


def test_a_slip_now_and_then_is_no_second_juice():
    rows = frame([1.5, 1.5] + [0.0] * 60)
    assert series_twice(rows, rows["at"], (), ["pH"], long=False) == ((), ())


@pytest.mark.parametrize(("long", "name"), [(True, "limed"), (False, "limed pH")])
def test_series_are_called_as_the_layout_calls_them(long, name):
    rows = frame([1.5] * 40).with_columns(juice=pl.lit("limed"))
    assert series_twice(rows, rows["at"], ("juice",), ["pH"], long=long)[0] == (name,)


def test_one_sample_twice_is_asked_about_and_the_likeliest_taken(tmp_path):
    rows = book_rows(("Date", "Time", "Sample", "pH", "Brix", "RS"))
    again = [[*row[:3], f"{float(row[3]) + 0.01:.2f}", *row[4:]] for row in rows[1:]]
    found = looked_at(put(tmp_path / "x.csv", [*rows, *again]))
    (question,) = found.questions
    assert (question.key, question.given) == ("repeats", False)
    assert found.keys["repeats"] == "best"
    assert not found.proposals[0].pooled


def test_two_juices_without_a_column_that_names_them_are_pooled(tmp_path):
    rows = [row[:2] + row[3:] for row in book_rows() if row[2] != "Limed juice"]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert "pH" in found.proposals[0].pooled
    assert not found.questions
