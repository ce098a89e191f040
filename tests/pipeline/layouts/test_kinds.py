"""Kinds of columns by their cells."""

import polars as pl
import pytest

from pipeline.layouts.kinds import kind_of


@pytest.mark.parametrize("values", [["328785.55", "328822.21"], ["3287.8555", "3288.0011"]])
def test_counters_are_no_dates(values):
    assert kind_of(pl.Series(values)) == "number"


def test_compact_dates_are_dates():
    assert kind_of(pl.Series(["20251006", "20251007"])) == "date"
    assert kind_of(pl.Series(["2025.10.06", "2025.10.07"])) == "date"
