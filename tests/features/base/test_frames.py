from __future__ import annotations

import polars as pl
import pytest

from features.base.frames import STATION_COLUMNS, ZONE_COLUMNS, Column, check_frame, polars_schema


@pytest.mark.parametrize("columns", [STATION_COLUMNS, ZONE_COLUMNS])
def test_every_column_has_unit_and_meaning(columns):
    for name, column in columns.items():
        assert column.unit, name
        assert column.description.endswith("."), name


def test_an_empty_frame_of_the_schema_passes():
    frame = pl.DataFrame(schema=polars_schema(ZONE_COLUMNS))
    assert check_frame(frame, ZONE_COLUMNS) is frame


SMALL = {"a": Column(pl.Float64(), "-", "A."), "b": Column(pl.String(), "-", "B.", nullable=False)}


@pytest.mark.parametrize(
    ("frame", "said"),
    [
        (pl.DataFrame({"b": ["x"]}), "column a is missing: add it"),
        (pl.DataFrame({"a": [1], "b": ["x"]}), "column a is Int64: cast it to Float64"),
        (pl.DataFrame({"a": [float("nan")], "b": ["x"]}), "turn NaN into null"),
        (pl.DataFrame({"a": [1.0], "b": pl.Series([None], dtype=pl.String)}), "b has 1 nulls"),
        (pl.DataFrame({"a": [1.0], "b": ["x"], "c": [1]}), "columns c are not part"),
    ],
)
def test_faults_are_named_with_their_cure(frame, said):
    with pytest.raises(ValueError, match=said):
        check_frame(frame, SMALL)
