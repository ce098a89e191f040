"""What may be read from an inbox, and what is still on its way."""

import os
import time
import zipfile

import polars as pl
import pytest

from pipeline.pull import inbox
from pipeline.pull.inbox import PATIENCE_S, exports_in, hashed, still_arriving
from pipeline.pull.known import file_hash


@pytest.fixture(autouse=True)
def _no_pause(monkeypatch):
    monkeypatch.setattr(inbox, "PAUSE_S", 0.0)


def test_every_form_that_can_be_read_is_looked_for(tmp_path):
    names = ["a.csv", "b.CSV.gz", "c.csv.zst", "d.zip", "e.xlsx", "f.parquet", "g.tsv"]
    for name in [*names, ".h.csv", "notes.docx"]:
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "folder.csv").mkdir()
    assert [path.name for path in exports_in(tmp_path)] == names


def test_a_file_that_grows_waits(tmp_path, monkeypatch):
    still, growing, gone = (tmp_path / name for name in ("a.csv", "b.csv", "c.csv"))
    for path in (still, growing, gone):
        path.write_text("time,tag,value\n")

    def meanwhile(_):
        with growing.open("a") as file:
            file.write("2025-10-06 10:00,PH.1,7.4\n")
        gone.unlink()

    monkeypatch.setattr(inbox.time, "sleep", meanwhile)
    assert set(still_arriving([still, growing, gone])) == {growing, gone}


def test_old_files_are_looked_at_once(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n")
    os.utime(path, (time.time() - 120, time.time() - 120))
    monkeypatch.setattr(inbox.time, "sleep", lambda _: pytest.fail("waits"))
    assert still_arriving([path]) == {}


@pytest.mark.parametrize("name", ["a.parquet", "a.zip"])
def test_a_file_without_its_end_waits_until_it_is_plainly_damaged(tmp_path, name):
    path = tmp_path / name
    if name == "a.parquet":
        pl.DataFrame({"x": [1]}).write_parquet(path)
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("a.csv", "time,tag,value\n" * 50)
    whole = path.read_bytes()
    for length in (len(whole) - 1, len(whole) // 2, 5):
        path.write_bytes(whole[:length])
        assert set(still_arriving([path])) == {path}
    old = time.time() - 2 * PATIENCE_S
    os.utime(path, (old, old))
    assert still_arriving([path]) == {}
    path.write_bytes(whole)
    assert still_arriving([path]) == {}


def test_what_did_not_change_is_not_read_again(tmp_path, monkeypatch):
    one, other = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_text("time,tag,value\n")
    other.write_text("time;tag;value\n")
    notes = tmp_path / "inbox.json"
    expected = {path: file_hash(path) for path in (one, other)}
    assert hashed([one, other], notes) == expected
    with monkeypatch.context() as patch:
        patch.setattr(inbox, "file_hash", lambda _: pytest.fail("read again"))
        assert hashed([one, other], notes) == expected
    dates = one.stat()
    one.write_text("time,tag,VALUE\n")  # as long as before, and its date is kept
    os.utime(one, ns=(dates.st_atime_ns, dates.st_mtime_ns))
    assert hashed([one, other], notes) == expected | {one: file_hash(one)}


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"a.csv": 3}', '{"a.csv": []}', '{"a.csv": null}']
)
def test_spoiled_notes_on_an_inbox_are_made_anew(tmp_path, text):
    path, notes = tmp_path / "a.csv", tmp_path / "inbox.json"
    path.write_text("time,tag,value\n")
    notes.write_text(text)
    assert hashed([path], notes) == {path: file_hash(path)}
    assert hashed([path], notes) == {path: file_hash(path)}


def test_a_file_that_went_away_is_known_to_nobody(tmp_path):
    assert hashed([tmp_path / "gone.csv"], tmp_path / "inbox.json") == {tmp_path / "gone.csv": ""}


@pytest.mark.parametrize("name", ["a.csv", "a.TXT"])
def test_a_last_line_without_its_end_is_waited_for_but_not_for_ever(tmp_path, name):
    """26 may be the beginning of 265.1."""
    path = tmp_path / name
    path.write_text("time,tag,value\n2025-10-06 10:00,FI.1,26")
    assert set(still_arriving([path])) == {path}
    path.write_text("time,tag,value\n2025-10-06 10:00,FI.1,265.1\n")
    assert still_arriving([path]) == {}
    path.write_text("time,tag,value\n2025-10-06 10:00,FI.1,265.1")
    some_time_ago = time.time() - 700.0
    os.utime(path, (some_time_ago, some_time_ago))
    assert still_arriving([path]) == {}


def test_one_young_file_has_all_looked_at_twice(tmp_path, monkeypatch):
    old, young = tmp_path / "a.csv", tmp_path / "b.csv"
    for path in (old, young):
        path.write_text("time,tag,value\n")
    os.utime(old, (time.time() - 120, time.time() - 120))
    monkeypatch.setattr(inbox.time, "sleep", lambda _: young.write_text("time,tag,value\n1,"))
    assert set(still_arriving([old, young])) == {young}
