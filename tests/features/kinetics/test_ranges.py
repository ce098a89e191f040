"""What lies outside a formula's stated range is counted by zone, with its share of the loss."""

from __future__ import annotations

import polars as pl
import pytest

from features.flow import derive
from features.kinetics import (
    DESTRUCTION,
    INVERSION,
    RANGES,
    beyond_ranges,
    beyond_words,
    together,
)


def _zones(**changed):
    """Four minutes of two vessels, everything inside its range but what is changed."""
    columns = {
        "zone": ["tank"] * 4 + ["settler"] * 4,
        "temp_degc": [97.0] * 8,
        "ph_hot": [6.5] * 8,
        "ph_cold": [7.0] * 8,
        "brix_pct": [14.5] * 8,
        "loss_kg_h": [60.0] * 8,
        "rs_destroyed_kg_h": [30.0] * 8,
    }
    return pl.DataFrame(columns | changed)


def _outside(zones):
    return together([beyond_ranges(zones)])


def test_ordinary_juice_lies_inside_every_range():
    assert _outside(_zones()).is_empty()


def test_cold_minutes_are_counted_with_their_share_of_the_loss():
    temps = [55.0, 58.0, 60.0, 97.0, 97.0, 97.0, 97.0, None]
    found = _outside(_zones(temp_degc=temps, loss_kg_h=[6.0, 12.0, 60.0, 60.0] + [60.0] * 4))
    row = found.row(by_predicate=pl.col("formula") == INVERSION, named=True)
    assert (row["zone"], row["input"], row["minutes"], row["of_minutes"]) == (
        "tank",
        "temperature",
        2,
        4,
    )
    assert (row["seen_low"], row["seen_high"]) == (55.0, 58.0)
    # 6 and 12 kg/h for a minute each, by hand; 138 + 240 kg/h over a minute in all.
    assert row["beyond_kg"] == pytest.approx(0.3)
    assert row["all_kg"] == pytest.approx(378.0 / 60.0)
    destroyed = found.row(by_predicate=pl.col("formula") == DESTRUCTION, named=True)
    assert destroyed["minutes"] == 3
    assert destroyed["beyond_kg"] == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("column", "value", "formula"),
    [
        ("ph_hot", 3.9, INVERSION),
        ("ph_hot", 8.1, INVERSION),
        ("temp_degc", 131.0, INVERSION),
        ("ph_cold", 5.5, DESTRUCTION),
        ("ph_cold", 9.2, DESTRUCTION),
        ("temp_degc", 79.0, DESTRUCTION),
        ("brix_pct", 86.0, "density of juice"),
    ],
)
def test_each_input_has_its_range(column, value, formula):
    found = _outside(_zones(**{column: [value] * 8}))
    assert formula in found["formula"].to_list()
    assert found.filter(pl.col("formula") == formula)["minutes"].sum() == 8


def test_days_add_up():
    one = _zones(temp_degc=[55.0] * 8)
    parts = [beyond_ranges(one), beyond_ranges(_zones()), beyond_ranges(one)]
    tank = (pl.col("formula") == INVERSION) & (pl.col("zone") == "tank")
    row = together(parts).row(by_predicate=tank, named=True)
    assert (row["minutes"], row["of_minutes"]) == (8, 12)
    assert row["all_kg"] == pytest.approx(3 * 8.0)


def test_the_derived_minutes_of_a_station_hold_every_column(brindlewater, nominal_grid):
    grid = nominal_grid()
    cold = grid.with_columns(temp_primary_heater_out_degc=pl.lit(55.0))
    found = _outside(derive(cold, brindlewater).zone_minutes)
    heater = found.filter((pl.col("zone") == "primary_heater") & (pl.col("formula") == INVERSION))
    assert heater["minutes"].item() == grid.height
    assert 0.0 < heater["beyond_kg"].item() < 0.05 * heater["all_kg"].item()


def test_words_name_range_and_what_was_met():
    (line,) = beyond_words({"ph_hot": [6.0, 3.7]})
    assert line == "pH of the hot juice 3.7 to 6; the published kinetics hold from 4 to 8"
    assert beyond_words({"temp_degc": [97.0], "ph_hot": [6.5]}) == ()


def test_one_stated_range_serves_all():
    # Vukov 1965 from 60 to 130 degC and hot pH 4 to 8 (memory).
    stated = {(r.formula, r.column): (r.low, r.high) for r in RANGES}
    assert stated[INVERSION, "temp_degc"] == (60.0, 130.0)
    assert stated[INVERSION, "ph_hot"] == (4.0, 8.0)
    assert stated[DESTRUCTION, "temp_degc"] == (80.0, 140.0)
