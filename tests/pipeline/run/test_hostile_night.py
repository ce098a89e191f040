"""A file that no reader can bear costs itself, not the night."""

import io
import zipfile
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest
from lakes import describe

from pipeline.cli.app import run
from pipeline.files import tables
from pipeline.pull import inbox
from pipeline.stages import stages
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[3]


def damaged_lzma():
    """An archive whose entry is packed by LZMA, with bytes that are none."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("a.csv", "time,tag,value\n" + "2025-10-07 01:00:00,LT.AI212,7.1\n" * 500)
    data = bytearray(out.getvalue())
    data[60:90] = bytes(30)
    return bytes(data)


@pytest.mark.slow
def test_hostile_files_are_named_and_the_report_is_made(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(inbox, "PAUSE_S", 0.0)
    mill = describe(tmp_path / "mill")
    mill.inbox_path.mkdir(parents=True)
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    days = week.filter(pl.col("time") < week["time"].min() + timedelta(days=2))
    days.write_parquet(mill.inbox_path / "good.parquet")
    moments = pl.Series("time", [2**63 - 1, 1_760_000_000_000_000]).cast(pl.Datetime("us"))
    odd = pl.DataFrame({"time": moments.dt.replace_time_zone("UTC"), "tag": "x", "value": 1.0})
    odd.write_parquet(mill.inbox_path / "a_moment_beyond.parquet")
    (mill.inbox_path / "b_packed.zip").write_bytes(damaged_lzma())
    (mill.inbox_path / "c_panics.csv").write_text("time,tag,value\n2025-10-07,LT.AI212,7\n")
    real = tables.open_text

    def open_text(path, *arguments):
        if path.name.startswith("c_"):
            raise pl.exceptions.PanicException("index out of bounds")
        return real(path, *arguments)

    monkeypatch.setattr(tables, "open_text", open_text)
    assert run(["nightly", str(mill.config_path)]) == 3
    said = capsys.readouterr().err
    assert "Traceback" not in said.split("panicked")[0]
    for name in ("a_moment_beyond.parquet", "b_packed.zip", "c_panics.csv"):
        assert name in said
    assert "good.parquet" not in said
    runs = store_of(mill).runs()
    assert runs["state"].to_list() == ["finished"]
    assert list(mill.reports_path.rglob("*.html"))
    assert stages.lake_of(mill).days()
