"""Findings as CSV, XLSX and Parquet: the same numbers, and no text that acts."""

import csv
import io
import json
import re
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from keeping import keep_found
from python_calamine import CalamineWorkbook

from pipeline.base.errors import ConfigError
from pipeline.mill.description import load_mill
from pipeline.store.export import EXPORT_COLUMNS, export_findings
from pipeline.store.folders import store_of
from pipeline.store.verdicts import give_verdict
from pipeline.words.text import is_formula

ROOT = Path(__file__).resolve().parents[3]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")
#: 01:30 by the second clock of the night on which summer time ends in Chicago.
START = datetime(2025, 11, 2, 7, 30, tzinfo=UTC)
NOTES = [
    "=1+1",
    '=HYPERLINK("http://x.example","go")',
    "\t=cmd|' /C calc'!A0",
    "+49 30 1",
    "@SUM(A1)",
    "＝1+1",
    "<script>alert(1)</script>",
    "\u202eevah",
    'a\x00b,"c"\r\nd',
    "x" * 5000,
]


def episode(number):
    evidence = {
        "facts": [{"text": "=2+2 juice temperature", "unit": "degC", "value": 101.0}],
        "alternatives": [{"cause": "mud_held", "weight": 0.2}],
    }
    started = START + timedelta(days=2 * number)
    return {
        "section": "settler",
        "cause": "overheating",
        "started": started,
        "ended": started + timedelta(hours=7.5),
        "lost_t": 2.0 - number / 100,
        "lost_t_low": 1.0,
        "lost_t_high": 4.123456789,
        "lost_pct": None,
        "value": 520 * (2.0 - number / 100),
        "currency": "USD",
        "confidence": 0.8,
        "rank": None,
        "status": "ended",
        "evidence": json.dumps(evidence),
    }


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    made = replace(BRINDLEWATER, store_path=tmp_path_factory.mktemp("store"))
    window = (START - timedelta(days=1), START + timedelta(days=40))
    rows = [episode(n) for n in range(len(NOTES))]
    keep_found(store_of(made), rows, window=window, as_of=window[1], run_id="r")
    names = store_of(made).findings()["finding_id"].to_list()
    for name, note in zip(names, NOTES, strict=True):
        give_verdict(made, name, "confirmed", note, "=Ana")
    return made


def read_csv(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


def test_the_three_forms_say_the_same(mill, tmp_path):
    for ending in ("csv", "xlsx", "parquet"):
        assert export_findings(mill, tmp_path / f"f.{ending}") == len(NOTES)
    frame = pl.read_parquet(tmp_path / "f.parquet")
    assert frame.columns == list(EXPORT_COLUMNS)
    rows = read_csv(tmp_path / "f.csv")
    head, *cells = (
        CalamineWorkbook.from_path(tmp_path / "f.xlsx").get_sheet_by_name("Findings").to_python()
    )
    assert head == list(rows[0]) == frame.columns
    assert not list(tmp_path.glob(".*"))
    for n, row in enumerate(frame.to_dicts()):
        sheet = dict(zip(head, cells[n], strict=True))
        assert (
            float(rows[n]["lost_t_high"]) == sheet["lost_t_high"] == row["lost_t_high"] == 4.12346
        )
        assert sheet["started_local"] == row["started_local"]
        assert rows[n]["started_utc"] == f"{row['started_utc']:%Y-%m-%dT%H:%M:%SZ}"


def test_times_are_local_with_their_zone_and_utc(mill, tmp_path):
    export_findings(mill, tmp_path / "f.csv")
    first = next(row for row in read_csv(tmp_path / "f.csv") if "11-02" in row["started_local"])
    assert first["started_local"] == "2025-11-02 01:30:00"
    assert first["time_zone"] == "America/Chicago"
    assert first["started_utc"] == "2025-11-02T07:30:00Z"
    assert first["ended_local"] == "2025-11-02 09:00:00"
    assert float(first["duration_h"]) == 7.5
    assert (float(first["worth"]), float(first["worth_low"])) == (1040.0, 520.0)


def test_no_cell_of_a_csv_is_a_formula(mill, tmp_path):
    export_findings(mill, tmp_path / "f.csv")
    texts = {name for name, column in EXPORT_COLUMNS.items() if column.dtype == pl.String}
    rows = read_csv(tmp_path / "f.csv")
    assert not [row[name] for row in rows for name in texts if is_formula(row[name])]
    by_note = {row["verdict_note"] for row in rows}
    assert "'=1+1" in by_note
    assert "'=cmd|' /C calc'!A0" in by_note
    assert "<script>alert(1)</script>" in by_note
    assert "x" * 5000 in by_note
    assert all(row["verdict_by"] == "'=Ana" for row in rows)


def test_no_cell_of_a_workbook_is_a_formula(mill, tmp_path):
    export_findings(mill, tmp_path / "f.xlsx")
    with zipfile.ZipFile(tmp_path / "f.xlsx") as book:
        sheets = [book.read(name).decode() for name in book.namelist() if "worksheets/" in name]
        styles = book.read("xl/styles.xml").decode()
        assert not [name for name in book.namelist() if "externalLink" in name]
    assert len(sheets) == 2
    # ECMA-376, part 1: <f> holds a formula, t="s" marks a text; quotePrefix keeps it one.
    assert not any(re.search(r"<f[ >]|<hyperlink", sheet) for sheet in sheets)
    assert 'quotePrefix="1"' in styles


def test_every_column_is_explained_in_the_workbook(mill, tmp_path):
    export_findings(mill, tmp_path / "f.xlsx")
    about = CalamineWorkbook.from_path(tmp_path / "f.xlsx").get_sheet_by_name("About").to_python()
    explained = {row[0]: row[2] for row in about if len(row) > 2 and row[2]}
    assert set(EXPORT_COLUMNS) <= set(explained)
    assert any("advises" in str(row[0]) for row in about)


def test_the_same_findings_are_the_same_file(mill, tmp_path):
    for ending in ("csv", "xlsx", "parquet"):
        made = []
        for _ in range(2):
            export_findings(mill, tmp_path / f"f.{ending}")
            made.append((tmp_path / f"f.{ending}").read_bytes())
        assert made[0] == made[1]


def test_no_findings_are_an_empty_table(tmp_path):
    mill = replace(BRINDLEWATER, store_path=tmp_path / "store")
    window = (START, START + timedelta(days=1))
    keep_found(store_of(mill), [], window=window, as_of=window[1], run_id="r")
    for ending in ("csv", "xlsx", "parquet"):
        assert export_findings(mill, tmp_path / f"f.{ending}") == 0
    assert (tmp_path / "f.csv").read_text().startswith("rank,finding_id,")


@pytest.mark.parametrize("name", ["f.xls", "f", "taken/f.csv"])
def test_what_cannot_be_written_is_told(mill, tmp_path, name):
    (tmp_path / "taken").touch()
    with pytest.raises(ConfigError, match=r"written"):
        export_findings(mill, tmp_path / name)


def test_a_failed_export_leaves_the_older_file(mill, tmp_path):
    blocked = tmp_path / "f.csv"
    blocked.mkdir()
    with pytest.raises(ConfigError, match="could not be written"):
        export_findings(mill, blocked)
    assert not list(tmp_path.glob(".*"))
