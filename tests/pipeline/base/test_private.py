"""Who may read what of a store. Modes are those of POSIX (IEEE Std 1003.1, chmod)."""

import os
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.base.lock import only_run
from pipeline.base.private import private_folder
from pipeline.care.rights import rights
from pipeline.lake.storage import FolderStorage
from pipeline.mail.outbox import Outbox
from pipeline.mill.description import load_mill
from pipeline.run.log import log_event, log_path
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[3]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such rights")


@pytest.fixture(autouse=True)
def generous_machine():
    """A machine that lets everybody read new files; whoever makes one must see to it."""
    before = os.umask(0)
    yield
    os.umask(before)


@pytest.fixture
def mill(tmp_path):
    return replace(BRINDLEWATER, store_path=tmp_path / "mills" / "store")


def mode(path):
    return path.stat().st_mode & 0o777


def modes_below(folder):
    """Rights of folders, and of files."""
    found = [folder, *folder.rglob("*")]
    return {mode(p) for p in found if p.is_dir()}, {mode(p) for p in found if p.is_file()}


def test_each_way_into_a_store_makes_it_private(mill, tmp_path):
    def mail():
        Outbox(mill.store_path / "outbox").put("a", b"text", ("x@mill.example",), "s", now)

    def lake():
        storage = FolderStorage(mill.store_path / "lake")
        storage.make_ready()
        storage.write("readings/date=2025-10-06/readings.parquet", lambda file: file.write(b"x"))

    def run():
        with only_run(mill):
            (mill.store_path / "anything").write_text("as a library would", encoding="utf-8")

    now = datetime(2025, 10, 6, tzinfo=UTC)
    ways = {
        "log": lambda: log_event(mill, "run started"),
        "mail": mail,
        "lake": lake,
        "run": run,
        "database": lambda: store_of(mill).set_source_mark("plant", now),
    }
    for name, way in ways.items():
        os.umask(0)
        mill = replace(mill, store_path=tmp_path / name / "store")
        way()
        assert modes_below(tmp_path / name) == ({0o700}, {0o600}), name
    assert log_path(replace(mill, store_path=tmp_path / "log" / "store")).is_file()


@pytest.mark.parametrize(
    ("readers", "copy", "folder"),
    [("owner", 0o400, 0o700), ("group", 0o440, 0o710), ("everyone", 0o444, 0o711)],
)
def test_a_key_lets_readers_get_to_the_published_copy_and_nothing_else(mill, readers, copy, folder):
    mill = replace(mill, readers=readers)
    store = store_of(mill)
    store.record_pull([], [])
    assert mode(store.published) == copy
    assert mode(mill.store_path) == mode(mill.store_path.parent) == folder
    assert mode(store.path) == 0o600
    store.path.unlink()  # one brought back from the copy is no copy
    store.record_pull([], [])
    assert (mode(store.path), mode(store.published)) == (0o600, copy)
    assert [sign.state for sign in rights(mill)] == ["fine"]


def test_a_folder_that_is_there_keeps_its_rights_but_lets_readers_pass(tmp_path):
    (tmp_path / "there").mkdir(mode=0o750)
    private_folder(tmp_path / "there")
    assert mode(tmp_path / "there") == 0o750
    private_folder(tmp_path / "there", "everyone")
    assert mode(tmp_path / "there") == 0o751


def test_the_key_changes_no_finding(tmp_path):
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(text.replace("[mill]", '[mill]\nreaders = "group"', 1))
    mill = load_mill(tmp_path / "a.toml")
    assert mill.readers == "group"
    assert mill.config_hash == BRINDLEWATER.config_hash


def test_health_tells_of_files_that_others_may_read(mill):
    store_of(mill).record_pull([], [])
    store_of(mill).path.chmod(0o644)
    (sign,) = rights(mill)
    assert sign.state == "look"
    assert "findings.duckdb" in sign.what
    assert "chmod -R go-rwx" in sign.cure
