"""Exports, a mill that pulls them, and looks into the lake it leaves."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl

from pipeline.lake.lake import Lake
from pipeline.mill.export_layout import Exports
from pipeline.mill.units import UnitChange
from pipeline.pull.pull import pull_files

START = datetime(2025, 10, 6, 20, 0, tzinfo=UTC)


@dataclass(frozen=True)
class FakeMill:
    lake_path: Path
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    exports: Exports = field(default_factory=Exports)
    unit_changes: dict = field(
        default_factory=lambda: {
            "PH.1": UnitChange(),
            "TI.2": UnitChange(5 / 9, -160 / 9),
            "LAB CJ rs": UnitChange(),
        }
    )

    @property
    def incoming_path(self):
        return self.lake_path / "incoming"


def content(mill):
    lake = Lake(mill.lake_path)
    return lake.read_readings(date(2020, 1, 1), date(2030, 1, 1))


def lake_bytes(mill):
    """All of the lake but the notes on files that were pulled."""
    root = mill.lake_path
    found = {p.relative_to(root).as_posix(): p for p in root.rglob("*") if p.is_file()}
    return {name: p.read_bytes() for name, p in found.items() if not name.startswith("pulled/")}


def assert_balanced(result):
    for source in result.sources:
        assert source.rows_read == source.kept + source.merged + sum(source.refused.values())
        assert len(source.sha256) == 64


def long_frame(rows=600):
    """Six hours that cross UTC midnight: pH and a temperature in degF, every 36 s."""
    times = [START + timedelta(seconds=36 * k) for k in range(rows)]
    rng = random.Random(7)
    ph = pl.DataFrame({"time": times, "tag": "PH.1", "value": [7 + rng.random() for _ in times]})
    temp = ph.with_columns(tag=pl.lit("TI.2"), value=pl.lit(212.0))
    frame = pl.concat([ph, temp]).with_columns(pl.col("value").round(3))
    return frame.with_columns(pl.col("time").dt.cast_time_unit("us"))


def as_text(frame, zone="America/Chicago", pattern="%Y-%m-%d %H:%M:%S"):
    return frame.with_columns(
        pl.col("time").dt.convert_time_zone(zone).dt.strftime(pattern),
        pl.col("value").cast(pl.String),
    )


def pulled(tmp_path, name, *files, **mill_options):
    mill = FakeMill(tmp_path / name, **mill_options)
    result = pull_files(mill, list(files))
    assert_balanced(result)
    return mill, result
