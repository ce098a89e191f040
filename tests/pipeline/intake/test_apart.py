"""Columns name series by what stands beside them: shares are checked against Kruskal-Wallis."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import kruskal

from pipeline.intake.apart import explained, joined, naming_columns, repeated, same_meaning

JUICES = ("mixed", "limed", "clear")
ANALYSTS = ("AB", "CD", "EF", "GH")
SHIFTS = ("day", "evening", "night")


def book(n=60, seed=3, *, levels=(5.4, 7.6, 6.9)):
    """Three juices a moment; analyst and shift by the moment, method by chance."""
    rng = np.random.default_rng(seed)
    rows = [
        {
            "at": f"{k:04d}",
            "juice": juice,
            "analyst": ANALYSTS[int(rng.integers(4))],
            "shift": SHIFTS[k % 3],
            "method": ("A", "B")[int(rng.integers(2))],
            "value": f"{level + rng.normal(0.0, 0.05):.3f}",
        }
        for k in range(n)
        for juice, level in zip(JUICES, levels, strict=True)
    ]
    return pl.DataFrame(rows)


GROUPS = ["juice", "analyst", "shift", "method"]


@pytest.mark.parametrize("group", GROUPS)
def test_the_share_explained_is_that_of_a_kruskal_wallis_test(group):
    """epsilon squared = (H - k + 1) / (n - k) (Tomczak and Tomczak, 2014; memory)."""
    rows = book(n=20)
    value = rows["value"].cast(pl.Float64)
    parts = [value.filter(rows[group] == g).to_numpy() for g in rows[group].unique()]
    n, k = rows.height, len(parts)
    expected = (kruskal(*parts).statistic - k + 1) / (n - k)
    assert explained(rows, [group], ["value"]) == pytest.approx(max(0.0, expected), abs=1e-9)


def test_nothing_is_explained_by_one_group_by_groups_of_one_or_of_what_is_constant():
    rows = book(n=10).with_columns(
        one=pl.lit("x"), each=pl.int_range(pl.len()).cast(pl.String), still=pl.lit("7")
    )
    assert explained(rows, ["one"], ["value"]) == 0.0
    assert explained(rows, ["each"], ["value"]) == 0.0
    assert explained(rows, ["juice"], ["still"]) == 0.0
    assert explained(rows, ["juice"], []) == 0.0


def test_the_best_column_of_values_counts():
    rows = book().with_columns(noise=pl.lit("1"))
    assert explained(rows, ["juice"], ["noise", "value"]) > 0.8


def test_juices_name_and_analyst_shift_and_method_never_do():
    rows = book()
    assert naming_columns(rows, rows["at"], GROUPS, ["value"], ["juice"]) == ("juice",)
    assert naming_columns(rows, rows["at"], GROUPS, ["value"], []) == ("juice",)


def test_where_values_are_alike_the_moments_tell():
    rows = book(levels=(7.0, 7.0, 7.0))
    assert naming_columns(rows, rows["at"], GROUPS, ["value"], []) == ("juice",)


def test_a_state_of_the_plant_explains_values_and_names_nothing():
    rng = np.random.default_rng(1)
    state = ["running", "stopped"] * 40
    value = [f"{(300.0 if s == 'running' else 0.0) + rng.normal():.2f}" for s in state]
    rows = pl.DataFrame({"at": [str(k) for k in range(80)], "state": state, "value": value})
    assert explained(rows, ["state"], ["value"]) > 0.7
    assert naming_columns(rows, rows["at"], ["state"], ["value"], []) == ()


def two_kinds(*, alike=False, likely=()):
    """Three juices and three analyses a moment; alike: only the pH tells the juices apart."""
    rng = np.random.default_rng(5)
    levels = {"pH": (5.4, 7.6, 6.9), "Brix": (15.0, 14.0, 13.0), "RS": (3.0, 3.3, 3.6)}
    if alike:
        levels |= {"Brix": (15.0,) * 3, "RS": (3.0,) * 3}
    rows = pl.DataFrame(
        [
            {
                "at": str(k),
                "juice": juice,
                "analysis": kind,
                "value": f"{v + rng.normal(0, 0.2):.2f}",
            }
            for k in range(40)
            for kind, levels_of in levels.items()
            for juice, v in zip(JUICES, levels_of, strict=True)
        ]
    )
    return naming_columns(rows, rows["at"], ["juice", "analysis"], ["value"], likely)


def test_two_columns_name_a_series_together_in_the_order_of_the_table():
    assert two_kinds() == ("juice", "analysis")


def test_names_of_juices_that_part_all_moments_count_even_where_most_values_are_alike():
    assert two_kinds(alike=True, likely=("juice", "analysis")) == ("juice", "analysis")


def test_moments_that_come_again():
    rows = pl.DataFrame({"at": ["1", "1", "2", "2"], "g": ["a", "b", "a", "a"]})
    assert repeated(rows, rows["at"], []) == 0.5
    assert repeated(rows, rows["at"], ["g"]) == 0.25
    assert repeated(rows.clear(), rows["at"].clear(), []) == 0.0


def test_a_column_that_says_one_thing_of_each_series():
    rows = pl.DataFrame(
        {"tag": ["a", "a", "b"], "words": ["one", "one", "two"], "other": ["x", "y", "x"]}
    )
    assert same_meaning(rows, ["tag"], "words")
    assert not same_meaning(rows, ["tag"], "other")
    assert not same_meaning(rows.with_columns(words=pl.lit("")), ["tag"], "words")
    assert joined(rows, ["tag", "other"]).to_list() == ["a x", "a y", "b x"]
