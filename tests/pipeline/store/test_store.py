"""The findings store: identity of findings, repeats, times, locks, schema."""

import multiprocessing
from datetime import UTC, date, datetime, timedelta

import duckdb
import pytest
from keeping import keep_found
from processes import PATIENCE_S

from pipeline.base.errors import DataError, StoreBusyError
from pipeline.store.matching import finding_id, merge_findings, pair_up, shared_part
from pipeline.store.schema import MIGRATIONS
from pipeline.store.store import Store

START = datetime(2025, 10, 6, 5, tzinfo=UTC)
WINDOW = (START, START + timedelta(days=28))


def episode(start_h, hours, *, section="settler", cause="low_limed_ph", lost_t=4.0, **other):
    started = START + timedelta(hours=start_h)
    row = {
        "mill": "brindlewater",
        "section": section,
        "cause": cause,
        "started": started,
        "ended": started + timedelta(hours=hours),
        "lost_t": lost_t,
        "lost_t_low": lost_t / 2,
        "lost_t_high": lost_t * 2,
        "lost_pct": 0.4,
        "value": lost_t * 520,
        "currency": "USD",
        "confidence": 0.9,
        "rank": None,
        "status": "ended",
        "evidence": '["pH 6.9 [90 % 6.8 to 7.0]"]',
    }
    return row | other


def publish(store, rows, run_id="run1", window=WINDOW, as_of=WINDOW[1]):
    return keep_found(store, rows, window=window, as_of=as_of, run_id=run_id)


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store" / "findings.duckdb", "brindlewater", patience_s=0.3)


def test_findings_come_back_ranked_with_utc_times(store):
    frame = publish(store, [episode(0, 5, lost_t=2.0), episode(50, 5, lost_t=9.0)])
    assert frame["rank"].to_list() == [1, 2]
    assert frame["lost_t"].to_list() == [9.0, 2.0]
    assert frame.schema["started"].time_zone == "UTC"
    assert frame["started"][1] == START


def test_confidence_counts_in_the_rank(store):
    frame = publish(store, [episode(0, 5, lost_t=10, confidence=0.2), episode(50, 5, lost_t=3)])
    assert frame["lost_t"].to_list() == [3.0, 10.0]


def test_the_same_run_twice_leaves_the_same_table(store):
    rows = [episode(0, 5), episode(50, 9, cause="overheating")]
    first = publish(store, rows)
    assert publish(store, rows).equals(first)


def test_a_later_run_keeps_identity_and_first_sight(store):
    before = publish(store, [episode(0, 5)], as_of=START + timedelta(days=1))
    later = START + timedelta(days=2)
    after = publish(store, [episode(1.5, 6, cause="standing_juice")], "run2", as_of=later)
    assert after["finding_id"].to_list() == before["finding_id"].to_list()
    assert after["first_seen"].to_list() == before["first_seen"].to_list()
    assert after["last_seen"].to_list() == [later]
    assert after["cause"].to_list() == ["standing_juice"]


def test_what_a_run_no_longer_finds_is_withdrawn_not_deleted(store):
    publish(store, [episode(0, 5), episode(50, 5)])
    shown = publish(store, [episode(50, 5)], "run2")
    assert shown.height == 1
    everything = store.findings(withdrawn=True)
    assert everything["status"].to_list() == ["ended", "withdrawn"]
    assert everything["rank"].to_list() == [1, None]
    again = publish(store, [episode(0, 5), episode(50, 5)], "run3")
    assert set(again["finding_id"]) == set(everything["finding_id"])


def test_findings_outside_the_window_are_left_alone(store):
    publish(store, [episode(0, 5)])
    tail = (START + timedelta(days=7), WINDOW[1])
    frame = publish(store, [episode(200, 5)], "run2", window=tail)
    assert frame.sort("started")["run_id"].to_list() == ["run1", "run2"]


def test_mills_do_not_touch_each_other(store):
    publish(store, [episode(0, 5)])
    other = Store(store.path, "elsewhere")
    assert publish(other, [episode(0, 5)])["mill"].to_list() == ["elsewhere"]
    assert store.findings()["mill"].to_list() == ["brindlewater"]


@pytest.mark.parametrize(
    ("start_h", "hours", "shared"),
    [(0, 10, 1.0), (5, 10, 0.5), (8, 4, 0.5), (9, 10, 0.1), (30, 2, 0)],
)
def test_shared_part_is_of_the_shorter(start_h, hours, shared):
    assert shared_part(episode(0, 10), episode(start_h, hours)) == pytest.approx(shared)


def test_same_section_and_cause_wins_over_more_overlap():
    known = [episode(0, 10, section="liming_tank"), episode(4, 10)]
    assert pair_up(known, [episode(0, 10)]) == {0: 1}


def test_each_known_finding_is_used_once():
    assert pair_up([episode(0, 10)], [episode(0, 5), episode(5, 5)]) == {0: 0}


def test_two_findings_of_one_hour_get_two_names():
    rows = merge_findings([], [episode(0, 5), episode(0.1, 7)], WINDOW, WINDOW[1], "r")
    assert len({row["finding_id"] for row in rows}) == 2


def test_a_few_minutes_do_not_rename_a_finding():
    assert finding_id("m", "s", "c", START) == finding_id(
        "m", "s", "c", START + timedelta(minutes=20)
    )
    assert finding_id("m", "s", "c", START) != finding_id("m", "s", "c", START + timedelta(hours=1))


def test_pull_marks_days_and_derive_clears_them(store):
    source = {
        "sha256": "ab" * 32,
        "name": "tags.csv",
        "bytes": 10,
        "layout": "historian",
        "rows_read": 5,
        "rows_kept": 3,
        "rows_merged": 1,
        "rows_refused": 1,
        "rows_conflicting": 0,
        "refused_by_reason": {"no_time": 1},
        "bad_by_reason": {},
        "unknown_tags": ["XX.YY1"],
        "first_ts": START,
        "last_ts": START,
    }
    days = [date(2025, 10, 7), date(2025, 10, 6), date(2025, 10, 6)]
    store.record_pull([source], days)
    store.record_pull([source | {"rows_kept": 0, "rows_merged": 4}], [])
    assert store.pending_days() == (date(2025, 10, 6), date(2025, 10, 7))
    assert store.sources()["rows_kept"].to_list() == [3]
    store.clear_pending([date(2025, 10, 6)])
    assert store.pending_days() == (date(2025, 10, 7),)


def test_a_failed_write_leaves_nothing(store):
    publish(store, [episode(0, 5)])
    with pytest.raises(duckdb.Error):
        publish(store, [episode(50, 5), episode(60, 5, status="nonsense")], "run2")
    assert store.findings()["run_id"].to_list() == ["run1"]


def test_quotes_and_commands_in_text_are_only_text(store):
    nasty = "x'); DROP TABLE findings; --"
    assert publish(store, [episode(0, 5, section=nasty)])["section"].to_list() == [nasty]


def test_no_store_yet_says_what_to_do(store):
    with pytest.raises(DataError, match="no findings yet"):
        store.findings()
    assert store.pending_days() == ()


def test_a_newer_schema_is_refused(store):
    publish(store, [episode(0, 5)])
    with duckdb.connect(store.path) as connection:
        connection.execute("INSERT INTO schema_version VALUES (?)", [len(MIGRATIONS) + 1])
    with pytest.raises(DataError, match="this lostpol knows"):
        store.findings()


def test_a_file_that_is_no_database_is_named(store):
    store.path.parent.mkdir(parents=True)
    store.path.write_text("not a database, but long enough to be taken for one" * 100)
    with pytest.raises(DataError) as caught:
        store.findings()
    assert str(store.path) in caught.value.where


def hold(path, ready, done):
    with duckdb.connect(path):
        ready.set()
        done.wait(PATIENCE_S)


def test_a_held_store_names_its_holder(store):
    publish(store, [episode(0, 5)])
    context = multiprocessing.get_context("spawn")
    ready, done = context.Event(), context.Event()
    holder = context.Process(target=hold, args=(str(store.path), ready, done))
    holder.start()
    try:
        assert ready.wait(PATIENCE_S)
        with pytest.raises(StoreBusyError, match=f"process {holder.pid}"):
            store.findings()
    finally:
        holder.kill()
        holder.join()
    assert store.findings().height == 1
