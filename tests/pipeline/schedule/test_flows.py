"""Scheduled flows give what the commands give; their times are the mill's own."""

import asyncio
import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import processes
import pytest

from pipeline.base.lock import only_run
from pipeline.mill.description import load_mill
from pipeline.run import order
from pipeline.stages import stages
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[3]
pytestmark = pytest.mark.prefect


@pytest.fixture(scope="session", autouse=True)
def temporary_server(prefect_server):
    return prefect_server


def describe(folder):
    folder.mkdir(exist_ok=True)
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    text = (text[:start] + text[end:]).replace("../lostpol_store/", "")
    (folder / "mill.toml").write_text(text, encoding="utf-8")
    return load_mill(folder / "mill.toml")


@pytest.fixture(scope="module")
def pulled(tmp_path_factory):
    """A mill of two days with a loss, not worked out yet; not to be changed."""
    folder = tmp_path_factory.mktemp("pulled")
    mill, days = describe(folder / "mill"), folder / "days.parquet"
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    of_a_loss = pl.col("time").dt.date().is_between(date(2025, 10, 9), date(2025, 10, 10))
    week.filter(of_a_loss).write_parquet(days)
    stages.pull(mill, [days])
    return mill


def copied(pulled, folder):
    mill = describe(folder)
    shutil.copytree(pulled.store_path, mill.store_path)
    return mill


def test_a_flow_gives_what_the_command_gives(tmp_path, pulled):
    from pipeline.schedule import flows

    plain, scheduled = copied(pulled, tmp_path / "plain"), copied(pulled, tmp_path / "flow")
    expected = order.backfill(plain)
    assert expected.judged.findings > 0
    report = Path(flows.backfill(str(scheduled.config_path)))
    assert report.parent.name == expected.report.parent.name
    assert store_of(scheduled).findings().equals(store_of(plain).findings())
    assert store_of(scheduled).runs()["run_id"].to_list() == [expected.judged.run_id]


def test_a_flow_that_cannot_run_fails_with_the_reason(tmp_path):
    from pipeline.schedule import flows

    mill = describe(tmp_path / "empty")
    state = flows.nightly(str(mill.config_path), return_state=True)
    assert state.is_failed()
    assert "Nothing was worked out yet" in state.message


def test_runs_that_were_killed_are_told_over_and_others_are_left_alone(tmp_path):
    from prefect import get_client
    from prefect.states import Running

    from pipeline.schedule import flows

    here, elsewhere = describe(tmp_path / "here"), describe(tmp_path / "elsewhere")
    with get_client(sync_client=True) as client:
        mine, other = (
            client.create_flow_run(
                flows.nightly, parameters={"mill_path": str(mill.config_path)}, state=Running()
            ).id
            for mill in (here, elsewhere)
        )

        def states():
            return [client.read_flow_run(run).state.type.value for run in (mine, other)]

        assert flows.call_crashed([here]) == 0  # too young
        with only_run(here):
            assert flows.call_crashed([here], oldest_s=0.0) == 0  # at work
        assert states() == ["RUNNING", "RUNNING"]
        assert flows.call_crashed([here], oldest_s=0.0) == 1
        assert states() == ["CRASHED", "RUNNING"]
        assert flows.call_crashed([here], oldest_s=0.0) == 0


@pytest.mark.slow
def test_nothing_is_reported_to_anybody_unless_the_site_asks_for_it():
    """Prefect reads its settings on import, whichever module of the room is first."""
    script = (
        "import pipeline.schedule.cluster, os; from prefect.settings import get_current_settings;"
        "print(get_current_settings().server.analytics_enabled, os.environ['DO_NOT_TRACK'])"
    )
    names = ("PREFECT_SERVER_ANALYTICS_ENABLED", "DO_NOT_TRACK")
    environment = {name: value for name, value in os.environ.items() if name not in names}
    command = [sys.executable, "-c", script]
    told = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "1"]


def test_another_try_is_for_what_the_world_may_put_right():
    from prefect.states import Failed

    from pipeline.base.errors import ConfigError, DataError, LakeError
    from pipeline.schedule import flows

    for kind, again in ((LakeError, True), (DataError, False), (ConfigError, False)):
        state = Failed(data=kind("It broke.", "lake", "Mend it."))
        assert flows._may_pass(None, None, state) is again


def test_deployments_run_at_the_mills_own_times():
    from pipeline.schedule import flows

    mill = load_mill(ROOT / "configs" / "demo_mill.toml")
    sunday = mill.schedule.model_copy(update={"weekly_day": "sunday"})
    made = flows.deployments([mill, replace(mill, key="other", schedule=sunday)])
    assert [d.name for d in made] == [
        "brindlewater-nightly",
        "brindlewater-weekly",
        "other-nightly",
        "other-weekly",
    ]
    schedules = [d.schedules[0].schedule for d in made]
    assert [s.cron for s in schedules] == ["0 5 * * *", "30 5 * * 1", "0 5 * * *", "30 5 * * 0"]
    assert {s.timezone for s in schedules} == {"America/Chicago"}
    assert {d.entrypoint for d in made} == {
        "pipeline.schedule.flows.nightly",
        "pipeline.schedule.flows.weekly",
    }


def test_a_site_with_its_own_server_keeps_it(monkeypatch):
    from pipeline.schedule import flows

    monkeypatch.setenv("PREFECT_API_URL", "http://scheduler.example/api")
    with flows.scheduling_server() as server:
        assert server.url == "http://scheduler.example/api"
        assert not server.is_gone()


def test_a_profile_that_names_the_usual_port_is_not_followed(monkeypatch):

    from prefect.settings import PREFECT_API_URL, temporary_settings

    from pipeline.schedule import flows
    from pipeline.schedule.server import Server

    @contextmanager
    def ours(host, port):
        yield Server(f"http://{host}:{port}/ours")

    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    monkeypatch.setattr(flows, "own_server", ours)
    with (
        temporary_settings(updates={PREFECT_API_URL: "http://127.0.0.1:4200/api"}),
        flows.scheduling_server("127.0.0.1", 4242) as server,
    ):
        assert server.url == PREFECT_API_URL.value() == os.environ["PREFECT_API_URL"]
        assert server.url == "http://127.0.0.1:4242/ours"
    assert "PREFECT_API_URL" not in os.environ


@pytest.mark.parametrize("around", ["2026-03-06", "2026-10-30"])
@pytest.mark.parametrize("at", ["05:00", "02:30", "01:30"])
def test_a_night_fires_once_a_local_day_across_both_changes_of_the_clock(around, at):
    from prefect.server.schemas.schedules import CronSchedule

    from pipeline.schedule import flows

    mill = load_mill(ROOT / "configs" / "demo_mill.toml")
    mill = replace(mill, schedule=mill.schedule.model_copy(update={"nightly": at}))
    made = flows.deployments([mill])[0].schedules[0].schedule
    schedule = CronSchedule(cron=made.cron, timezone=made.timezone)
    start = datetime.fromisoformat(f"{around}T12:00:00+00:00")
    fired = [t.astimezone(mill.tz) for t in asyncio.run(schedule.get_dates(6, start=start))]
    assert [t.date() for t in fired] == [fired[0].date() + timedelta(days=n) for n in range(6)]
    # An hour that is skipped is made up for within the hour; all others are on time.
    late = [f"{t:%H:%M}" for t in fired if f"{t:%H:%M}" != at]
    assert late == (["03:30"] if (around, at) == ("2026-03-06", "02:30") else [])
    assert len({t.utcoffset() for t in fired}) == 2


@pytest.mark.slow
def test_a_scheduled_run_fires_and_is_seen_with_its_states(tmp_path, pulled):
    """Serve a mill whose run is due every few seconds; ask the server what became of it."""
    from pipeline.schedule import flows

    mill = copied(pulled, tmp_path / "mill")
    mill.inbox_path.mkdir()
    before = signal.getsignal(signal.SIGTERM)
    try:
        with processes.nothing_left():
            told = asyncio.run(served(flows.deployments([mill])[0]))
    finally:
        signal.signal(signal.SIGTERM, before)  # Prefect's runner sets one of its own
    stages_seen = dict.fromkeys(("pull", "sources", "derive", "detect", "report"), "COMPLETED")
    assert told.runs
    assert told.runs == ["COMPLETED"] * len(told.runs)
    assert told.tasks == [stages_seen] * len(told.runs)
    assert store_of(mill).runs()["state"].to_list() == ["finished"]


@dataclass
class Seen:
    """States of a deployment's runs that have begun, and of their tasks by name."""

    runs: list[str]
    tasks: list[dict[str, str]]

    @property
    def over(self):
        # The server writes states of tasks a little later than those of their runs.
        states = [*self.runs, *(state for tasks in self.tasks for state in tasks.values())]
        return bool(states) and set(states) <= {"COMPLETED", "FAILED", "CRASHED", "CANCELLED"}


async def served(made):
    """Do what lostpol serve does, with a night every few seconds, until one was seen to end.

    No more are due then; one that began meanwhile is waited for.
    """
    from prefect import get_client
    from prefect.client.schemas.schedules import IntervalSchedule
    from prefect.runner import Runner

    often = IntervalSchedule(interval=timedelta(seconds=2))
    made.schedules = [s.model_copy(update={"schedule": often}) for s in made.schedules]
    runner = Runner(name="test", query_seconds=1, limit=1)
    deployment = await runner.aadd_deployment(made)
    work = asyncio.create_task(runner.start())
    told, paused = Seen([], []), False
    give_up = time.monotonic() + processes.PATIENCE_S
    async with get_client() as client:
        while not (paused and told.over) and time.monotonic() < give_up and not work.done():
            await asyncio.sleep(0.5)
            told = await seen(client, deployment)
            if told.runs and not paused:
                await client.pause_deployment(deployment)
                paused = True
    work.cancel()
    await asyncio.wait([work], timeout=processes.PATIENCE_S)
    with suppress(asyncio.CancelledError, asyncio.InvalidStateError):
        work.result()
    return told


async def seen(client, deployment):
    ours = [run for run in await client.read_flow_runs() if run.deployment_id == deployment]
    begun = [run for run in ours if run.state is not None and not run.state.is_scheduled()]
    tasks = [{} for _ in begun]
    for task in await client.read_task_runs():
        for run, its in zip(begun, tasks, strict=True):
            if task.flow_run_id == run.id:
                its[task.name.rsplit("-", 1)[0]] = task.state_type and task.state_type.value
    return Seen([run.state.type.value for run in begun], tasks)
