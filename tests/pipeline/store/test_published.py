"""The published copy: whole runs only, never in anybody's way; migrations keep a backup."""

import multiprocessing
import time
from datetime import UTC, date, datetime, timedelta

import duckdb
import polars as pl
import pytest
from processes import PATIENCE_S

from pipeline.base.errors import DataError, DiskError, StoreBusyError
from pipeline.store import database, published
from pipeline.store.database import backup_path
from pipeline.store.published import published_path
from pipeline.store.schema import MIGRATIONS
from pipeline.store.spoilt import backups_of
from pipeline.store.store import RunResult, Store
from pipeline.store.tables import table_schema

START = datetime(2025, 10, 6, tzinfo=UTC)
END = START + timedelta(days=10)
MILL = {"name": "Brindlewater", "zone": "America/Chicago", "currency": "USD", "price_per_t": 520.0}


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "findings.duckdb", "brindlewater", patience_s=0.3)


def run(run_id="r1", state="finished"):
    return {
        "run_id": run_id,
        "flow": "nightly",
        "window_start": START,
        "window_end": END,
        "as_of": END,
        "config_hash": "c",
        "inputs_hash": "i",
        "versions": {"lostpol": "0"},
        "started_at": END,
        "finished_at": END,
        "state": state,
    }


def finding(tonnes=2.0, **other):
    return {
        "section": "settler",
        "started": START,
        "ended": START + timedelta(hours=5),
        "cause": "overheating",
        "lost_t": tonnes,
        "lost_t_low": 1.0,
        "lost_t_high": 3.0,
        "lost_pct": 0.2,
        "value": 520.0 * tonnes,
        "currency": "USD",
        "confidence": 0.8,
        "status": "ended",
        "evidence": "{}",
    } | other


def sensors(day=date(2025, 10, 6)):
    row = {"mill": "brindlewater", "day": day, "tag": "T", "quantity": "ph", "place": "settler"}
    row |= {"readings": 9, "good": 9, "spikes": 0, "out_of_range": 0, "frozen": 0}
    row |= {"frozen_min": 0.0, "calibration": 0, "other_bad": 0, "gap_min": 0.0}
    row |= {"longest_gap_min": 0.0, "verdict": "good", "text": ""}
    return pl.DataFrame([row], schema=table_schema("sensor_health"))


def publish(store, run_id="r1", **changes):
    store.publish_run(RunResult(run(run_id), MILL, [finding(**changes)], sensors(), 10))


def seen(path):
    with duckdb.connect(path, read_only=True) as connection:
        names = ("findings", "runs", "sensor_health", "mills")
        return [connection.execute(f"SELECT count(*) FROM {n}").fetchone()[0] for n in names]


def test_a_run_appears_at_once_with_all_it_leaves(store):
    store.record_run(run(state="running"))
    assert not store.published.exists()
    publish(store)
    assert seen(store.published) == [1, 1, 1, 1]
    assert store.as_published().findings().equals(store.findings())


def test_a_held_copy_is_opened_once_and_stays_as_it_was(store):
    publish(store)
    copy = store.as_published()
    with copy.held():
        publish(store, "r2")  # nobody waits
        assert copy.runs()["run_id"].to_list() == ["r1"]
        assert copy.findings()["run_id"].to_list() == ["r1"]
    assert copy.runs()["run_id"].to_list() == ["r1", "r2"]


def test_nothing_is_held_where_nothing_was_published(store):
    with store.as_published().held(), pytest.raises(DataError, match="no findings yet"):
        store.as_published().runs()


def test_what_a_run_pulls_appears_with_what_it_finds(store):
    publish(store)
    before = store.published.read_bytes()
    store.record_pull([], [date(2025, 10, 6)], publish=False)
    assert store.published.read_bytes() == before
    assert store.pending_days() == (date(2025, 10, 6),)


def test_a_run_that_fails_halfway_shows_nothing(store):
    publish(store)
    before = store.published.read_bytes()
    with pytest.raises(duckdb.Error):
        publish(store, "r2", status="nonsense")
    assert store.published.read_bytes() == before
    assert store.runs()["run_id"].to_list() == ["r1"]


def test_views_comments_and_keys_are_in_the_copy(store):
    publish(store)
    with duckdb.connect(store.published, read_only=True) as connection:
        assert connection.execute("SELECT count(*) FROM for_chemist").fetchone() == (1,)
        query = "SELECT count(*) FROM duckdb_constraints() WHERE constraint_type = 'PRIMARY KEY'"
        assert connection.execute(query).fetchone()[0] >= 8
        query = "SELECT comment FROM duckdb_tables() WHERE table_name = 'findings'"
        assert "One row per loss" in connection.execute(query).fetchone()[0]


def test_a_reader_of_the_copy_neither_waits_nor_is_waited_for(store):
    publish(store)
    opened = store.published.stat().st_ino
    with duckdb.connect(store.published, read_only=True) as reader:
        publish(store, "r2", tonnes=7.0)
        (tonnes,) = reader.execute("SELECT lost_t FROM findings").fetchone()
        assert tonnes == 2.0  # what it opened, whole
        assert store.published.stat().st_ino != opened  # put in place, not written over
    with duckdb.connect(store.published, read_only=True) as reader:
        assert reader.execute("SELECT lost_t FROM findings").fetchone() == (7.0,)


def spoil(path):
    """Overwrite the middle of a file, as a bad disk may; the head stays."""
    path.chmod(0o600)
    whole = path.read_bytes()
    at = len(whole) // 3
    path.write_bytes(whole[:at] + bytes(len(whole) // 3) + whole[at + len(whole) // 3 :])


def cut(path):
    path.chmod(0o600)
    path.write_bytes(b"no database")


@pytest.mark.parametrize("damage", [spoil, cut])
def test_a_spoilt_copy_whose_file_is_gone_is_never_its_own_cure(store, damage):
    publish(store)
    store.path.unlink()
    damage(store.published)
    reads = (store.findings, store.as_published().findings) if damage is cut else ()
    for ask in (*reads, lambda: publish(store, "r2")):
        with pytest.raises(DataError, match="published copy of the findings cannot") as told:
            ask()
        assert store.published.name in told.value.where
        assert "goes on from the copy" not in told.value.next_step
        assert "Move the copy away" in told.value.next_step
        assert "lostpol backfill" in told.value.next_step
        assert not store.path.exists()
    store.published.unlink()  # as told
    publish(store, "r2")
    assert seen(store.published) == [1, 1, 1, 1]


def test_a_spoilt_copy_beside_its_file_is_told_to_be_only_a_copy(store):
    publish(store)
    cut(store.published)
    with pytest.raises(DataError, match="published copy") as told:
        store.as_published().findings()
    assert "Nothing is lost" in told.value.next_step
    assert store.findings().height == 1
    store.published.rename(store.published.with_suffix(".away"))  # as told
    assert store.as_published().findings().height == 1
    cut(store.path)
    with pytest.raises(DataError, match="findings store cannot be opened") as told:
        store.findings()
    assert "goes on from the copy" not in told.value.next_step  # there is none any more


def test_the_newest_backup_is_named_when_both_are_gone(store):
    publish(store)
    store.path.rename(backup_path(store.path, 6))
    cut(store.published)
    with pytest.raises(DataError) as told:
        store.findings()
    assert f"findings.schema_006.duckdb, to {store.path.name}" in told.value.next_step


def test_what_is_left_is_read_when_only_the_copy_is(store):
    publish(store)
    before = store.findings()
    store.path.unlink()
    assert store.findings().equals(before)
    assert not store.path.exists()  # reading changes nothing


def test_a_journal_that_a_client_left_goes_with_its_copy(store):
    publish(store)
    journal = store.published.with_name(store.published.name + ".wal")
    journal.write_bytes(b"left behind")
    publish(store, "r2")
    assert not journal.exists()
    assert seen(store.published) == [1, 2, 1, 1]


def test_a_full_disk_leaves_the_copy_as_it_was(store, monkeypatch):
    publish(store)
    before = store.published.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(published, "_fill", full)
    with pytest.raises(DiskError, match="no space left"):
        publish(store, "r2")
    assert store.published.read_bytes() == before
    assert list(store.path.parent.glob("*.part*")) == []
    monkeypatch.undo()
    store.settle_stopped()  # as the next run does first
    assert seen(store.published) == [1, 2, 1, 1]


def test_a_finished_run_stays_finished_and_a_stopped_one_is_called_failed(store):
    publish(store)
    store.record_run(run(state="running"))
    store.record_run(run("r2", state="running"))
    store.settle_stopped()
    assert dict(store.runs().select("run_id", "state").rows()) == {"r1": "finished", "r2": "failed"}


def hold(path, ready, for_s):
    with duckdb.connect(path, read_only=True):
        ready.set()
        time.sleep(for_s)


def test_a_held_database_is_waited_for_but_not_for_ever(store):
    publish(store)
    context = multiprocessing.get_context("fork")
    ready = context.Event()
    holder = context.Process(target=hold, args=(str(store.path), ready, PATIENCE_S))
    holder.start()
    try:
        assert ready.wait(PATIENCE_S)
        with pytest.raises(StoreBusyError, match=f"process {holder.pid}") as caught:
            publish(store, "r2")
        assert caught.value.exit_code == 4
        assert "findings_published.duckdb" in caught.value.next_step
        assert store.as_published().findings().height == 1  # readers do not notice
        holder.terminate()
        publish(Store(store.path, store.mill, patience_s=20.0), "r2")
    finally:
        holder.kill()
        holder.join()
    assert store.runs().height == 2


def old_file(path, version):
    """A store as a lostpol of an earlier schema left it."""
    with duckdb.connect(path) as connection:
        connection.execute("CREATE TABLE schema_version (version INTEGER PRIMARY KEY)")
        for number, script in enumerate(MIGRATIONS[:version], start=1):
            connection.execute(script)
            connection.execute("INSERT INTO schema_version VALUES (?)", [number])
        connection.execute("INSERT INTO pending_days VALUES ('brindlewater', DATE '2025-10-06')")


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS)))
def test_every_older_file_comes_up_to_date_after_a_backup(store, version):
    old_file(store.path, version)
    assert store.pending_days() == (date(2025, 10, 6),)
    publish(store)
    assert seen(store.published) == [1, 1, 1, 1]
    (kept,) = backups_of(store.path)
    assert kept == backup_path(store.path, version)
    with duckdb.connect(kept, read_only=True) as connection:
        assert connection.execute("SELECT max(version) FROM schema_version").fetchone() == (
            version,
        )
        assert connection.execute("SELECT count(*) FROM pending_days").fetchone() == (1,)


def test_a_migration_that_fails_leaves_the_file_as_it_was(store, monkeypatch):
    old_file(store.path, 2)
    broken = (*MIGRATIONS[:2], MIGRATIONS[2], "CREATE TABLE half (a INTEGER); SELECT no_such;")
    monkeypatch.setattr(database, "MIGRATIONS", broken)
    with pytest.raises(duckdb.Error):
        publish(store)
    with duckdb.connect(store.path, read_only=True) as connection:
        assert connection.execute("SELECT max(version) FROM schema_version").fetchone() == (2,)
        names = {row[0] for row in connection.execute("SHOW TABLES").fetchall()}
    assert not names & {"half", "verdicts"}


def test_few_backups_are_kept(store):
    for version in range(1, 6):
        backup_path(store.path, version).write_bytes(b"old")
    old_file(store.path, 6)
    store.pending_days()
    publish(store)
    assert [p.name[-10:-7] for p in backups_of(store.path)] == ["004", "005", "006"]


def test_the_copy_lies_beside_the_file(store):
    assert published_path(store.path).name == "findings_published.duckdb"
