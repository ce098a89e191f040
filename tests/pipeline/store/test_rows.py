"""What stays of a run and of the season in the store, whatever is written later."""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from keeping import keep_found, keep_health
from power_cut import watched_disk

from pipeline.store.learning import relearn
from pipeline.store.season import settled
from pipeline.store.store import Store
from pipeline.store.tables import table_schema

START = datetime(2025, 10, 6, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "findings.duckdb", "brindlewater", patience_s=0.3)


def run(run_id="r1", state="finished", first_day=0, **other):
    window = (START + first_day * DAY, START + (first_day + 28) * DAY)
    row = {
        "run_id": run_id,
        "flow": "nightly",
        "window_start": window[0],
        "window_end": window[1],
        "as_of": window[1],
        "config_hash": "c",
        "inputs_hash": "i",
        "versions": {"lostpol": "0"},
        "started_at": window[1],
        "finished_at": None if state == "running" else window[1],
        "state": state,
    }
    return row | other


def finding(**other):
    row = {
        "section": "settler",
        "started": START + 40 * DAY,
        "ended": START + 41 * DAY,
        "cause": "overheating",
        "lost_t": 2.0,
        "lost_t_low": 1.0,
        "lost_t_high": 3.0,
        "value": 1040.0,
        "currency": "USD",
        "confidence": 0.8,
        "status": "ended",
        "evidence": "{}",
    }
    return row | other


@pytest.mark.parametrize("later", ["running", "failed"])
def test_a_finished_run_stays_finished(store, later):
    """The same night started again may be stopped; what the first one found is still there."""
    store.record_run(run(findings=7))
    before = store.runs()
    store.record_run(run(state=later))
    assert store.runs().equals(before)


def test_a_run_that_did_not_finish_is_what_was_said_last(store):
    for state in ("running", "failed", "running", "finished"):
        store.record_run(run(state=state))
        assert store.runs()["state"].to_list() == [state]


@pytest.mark.parametrize("over", [False, True])
def test_an_attempt_that_is_over_leaves_no_run_running(store, over):
    store.record_run(run("done"))
    store.record_run(run("stuck", "running"))
    stage = {"attempt": "a", "number": 0, "flow": "nightly", "stage": "detect", "took_s": 1.0}
    store.record_stages([stage | {"started_at": START, "state": "failed"}], over=over)
    states = dict(store.runs().select("run_id", "state").iter_rows())
    assert states == {"done": "finished", "stuck": "failed" if over else "running"}


def test_the_season_begins_with_its_first_window(store):
    """False discoveries are judged over 56 days, twice the last window, as `settled` says."""
    for run_id, first_day in (("r1", 0), ("r2", 14), ("r3", 28)):
        store.record_run(run(run_id, first_day=first_day))
    window = (START + 28 * DAY, START + 56 * DAY)
    frame = keep_found(
        store, [finding(p_value=1e-5)], window=window, as_of=window[1], run_id="r3", cells=1_000
    )
    expected = settled([finding(p_value=1e-5, finding_id="a", verdict=None)], [], 2_000)
    assert frame["q_value"].to_list() == pytest.approx([expected[0]["q_value"]])


def test_health_of_both_ends_of_a_span_is_told(store):
    zeros = dict.fromkeys(table_schema("sensor_health"), 0)
    words = {"mill": "brindlewater", "tag": "T", "quantity": "ph", "place": "p"}
    days = [date(2025, 10, n) for n in range(6, 11)]
    rows = [zeros | words | {"verdict": "good", "text": "", "day": day} for day in days]
    keep_health(store, pl.DataFrame(rows, schema=table_schema("sensor_health")))
    assert store.sensors(days[1], days[3])["day"].to_list() == days[1:4]


@pytest.mark.parametrize(("hours", "told"), [(-3, "fixed"), (23, "fixed"), (25, "look_again")])
def test_a_loss_called_fixed_has_a_day_to_end(hours, told):
    """Work on the floor, and the juice on its way, take their time."""
    row = finding(finding_id="a", mill="brindlewater", rank=None, verdict=None)
    given = {
        "verdict_id": 1,
        "finding_id": "a",
        "verdict": "fixed",
        "note": "",
        "author": "Ana",
        "given_at": row["ended"] - timedelta(hours=hours),
        "found_cause": None,
    }
    given |= {name: row[name] for name in ("section", "cause", "started", "ended", "lost_t")}
    assert [found["verdict"] for found in relearn([row], [given])] == [told]


def test_a_power_cut_takes_nothing_of_the_published_copy(store):
    """POSIX: a file may be empty and a name gone until fsync of the file and of its folder."""
    with watched_disk() as disk:
        store.record_run(run())
    assert store.published.exists()
    assert disk.early == []
    assert disk.kept()
