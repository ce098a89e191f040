"""The refusal ledger: refused rows are counted, kept with their text, and bounded."""

import re
from pathlib import Path

import polars as pl
import pytest

from pipeline.base.errors import DataError
from pipeline.cli.app import run
from pipeline.lake.refused import (
    REFUSED_SCHEMA,
    ROWS_KEPT,
    TEXT_CHARS,
    RefusedRow,
    Tally,
    read_refused,
    refused_frame,
    refused_name,
)
from pipeline.lake.storage import storage_at
from pipeline.mill.description import load_mill
from pipeline.stages import stages


def places(*rows):
    return pl.Series(rows, dtype=pl.UInt32)


def test_rows_are_numbered_through_all_batches_and_keep_their_text():
    tally = Tally()
    first = pl.DataFrame({"time": ["a", "b"], "tag": ["X", None], "value": [1.0, 2.5]})
    tally.refuse("tag_absent", places(1), unreadable=True)
    tally.end_batch(first)
    tally.refuse("time_unreadable", places(0, 1), weight=3)
    tally.end_batch(first)
    assert tally.refused == {"tag_absent": 1, "time_unreadable": 6}
    assert tally.unreadable == 1
    assert tally.refused_rows == [
        RefusedRow(2, "tag_absent", "b |  | 2.5"),
        RefusedRow(3, "time_unreadable", "a | X | 1.0"),
        RefusedRow(4, "time_unreadable", "b |  | 2.5"),
    ]


def test_only_so_many_rows_of_a_reason_are_kept_and_their_text_is_cut():
    tally = Tally()
    many = ROWS_KEPT + 500
    raw = pl.DataFrame({"text": ["\x1b[2J" + "x" * 900] * many, "odd": [[1, 2]] * many})
    tally.refuse("tag_not_in_mill", pl.Series(range(many)))
    tally.refuse("tag_absent", places(7))
    tally.end_batch(raw)
    assert tally.refused == {"tag_not_in_mill": many, "tag_absent": 1}
    assert len(tally.refused_rows) == ROWS_KEPT + 1
    assert {len(row.text) for row in tally.refused_rows} == {TEXT_CHARS}
    assert tally.refused_rows[0].text.startswith(" [2Jx")


def test_kept_rows_come_back_by_reason_and_file(tmp_path):
    rows = [RefusedRow(9, "tag_absent", "z"), RefusedRow(2, "time_unreadable", "y")]
    for name, mark in (("a.csv", "a"), ("b.csv", "b")):
        path = tmp_path / refused_name(mark * 64)
        path.parent.mkdir(exist_ok=True)
        refused_frame(name, rows).write_parquet(path)
    assert read_refused(storage_at(tmp_path))["row"].to_list() == [2, 9, 2, 9]
    assert read_refused(storage_at(tmp_path), reason="tag_absent", file="b.csv").rows() == [
        ("b.csv", 9, "tag_absent", "z")
    ]
    assert read_refused(storage_at(tmp_path / "nowhere")).schema == REFUSED_SCHEMA


def test_what_is_no_hash_never_becomes_a_path(tmp_path):
    with pytest.raises(ValueError, match="not a hash"):
        refused_name("../../etc/passwd")


@pytest.mark.parametrize("damage", [b"PAR1 no more", None])
def test_a_damaged_list_says_which_and_what_to_do(tmp_path, damage):
    path = tmp_path / refused_name("c" * 64)
    path.parent.mkdir()
    pl.DataFrame({"other": [1]}).write_parquet(path)
    if damage:
        path.write_bytes(damage)
    with pytest.raises(DataError, match="refused rows") as caught:
        read_refused(storage_at(tmp_path))
    assert str(path) in caught.value.where


@pytest.fixture(name="pulled")
def _pulled(tmp_path):
    """Brindlewater with one export pulled, of which three rows are refused."""
    text = (Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml").read_text("utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text[:start] + text[end:])
    (tmp_path / "mill.toml").write_text(text, encoding="utf-8")
    mill = load_mill(tmp_path / "mill.toml")
    good = "".join(f"2025-10-06T1{k}:00:00Z,LT.AI212,7.5,good\n" for k in range(9))
    odd = "2025-10-06T10:00:00Z,\x1b[31m\u202eXX.9,1,good\nyesterday,LT.AI212,7.4,good\n"
    export = tmp_path / "tags_odd.csv"
    export.write_text("time,tag,value,quality\n" + good + odd, encoding="utf-8")
    stages.pull(mill, [export])
    return mill


def test_refused_rows_are_shown_with_harmless_text(pulled, capsys):
    assert run(["refused", str(pulled.config_path)]) == 0
    shown = capsys.readouterr().out
    assert "Brindlewater: 2 rows refused." in shown
    assert "tags_odd.csv: time unreadable, 1 rows" in shown
    assert "tags_odd.csv, row 11: time unreadable: yesterday | LT.AI212 | 7.4 | good" in shown
    assert "row 10: tag not in mill" in shown
    assert "\x1b" not in shown
    assert "\u202e" not in shown


def test_refused_rows_by_reason_and_file(pulled, capsys):
    options = ["--reason", "time unreadable", "--file", "tags_odd.csv", "--limit", "0"]
    assert run(["refused", str(pulled.config_path), *options]) == 0
    shown = capsys.readouterr().out
    assert "1 row refused" in shown
    assert "1 more were kept" in shown
    assert "tag not in mill" not in shown
    assert run(["refused", str(pulled.config_path), "--reason", "whim"]) == 2
    assert "There are: tag_not_in_mill, time_unreadable." in capsys.readouterr().err
    assert run(["refused", str(pulled.config_path), "--file", "else.csv"]) == 2


def test_too_much_refused_stops_the_run_and_leaves_the_store_alone(pulled, tmp_path):
    before = {p: p.read_bytes() for p in pulled.lake_path.rglob("*") if p.is_file()}
    bad = tmp_path / "tags_bad.csv"
    rows = "soon,LT.AI212,7.4,good\n" * 3 + "2025-10-07T10:00:00Z,LT.AI212,7.4,good\n"
    bad.write_text("time,tag,value,quality\n" + rows, encoding="utf-8")
    with pytest.raises(DataError, match="3 of 4"):
        stages.pull(pulled, [bad])
    after = {p: p.read_bytes() for p in pulled.lake_path.rglob("*") if p.is_file()}
    assert {p: b for p, b in after.items() if "incoming" not in p.parts} == before


def test_a_pull_tells_rows_reasons_and_what_the_file_shows(pulled, tmp_path, capsys):
    still = tmp_path / "tags_still.csv"
    minutes = [f"2025-10-08T{k // 60:02d}:{k % 60:02d}:00Z" for k in range(300)]
    rows = "".join(
        f"{m},LT.AI212,7.5,good\n{m},ST.AI308,7.{k:03d},good\n" for k, m in enumerate(minutes)
    )
    still.write_text("time,tag,value,quality\n" + rows + "soon,LT.AI212,7,good\n", "utf-8")
    assert run(["pull", str(pulled.config_path), str(still)]) == 0
    shown = capsys.readouterr().out
    assert "601 rows read, 600 new, 0 known already, 1 refused (time unreadable 1)" in shown
    assert "LT.AI212: all 300 readings are 7.5 while other tags move." in shown
    assert f"To see refused rows: lostpol refused {pulled.config_path}" in shown
