"""Exports that several tests of the stages pull."""

import polars as pl
import pytest
from four_days import DAYS, ROOT


@pytest.fixture(scope="session")
def exports(tmp_path_factory):
    """Four days of tags in two files, and their lab results."""
    folder = tmp_path_factory.mktemp("exports")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    day = pl.col("time").dt.date()
    week.filter(day <= DAYS[2]).write_parquet(folder / "tags_a.parquet")
    week.filter(day.is_between(DAYS[3], DAYS[4])).write_parquet(folder / "tags_b.parquet")
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    lab.filter(pl.col("sampled") < "2025-10-10 12:00").write_parquet(folder / "lab.parquet")
    return [folder / name for name in ("tags_a.parquet", "tags_b.parquet", "lab.parquet")]
