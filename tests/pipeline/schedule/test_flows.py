"""Scheduled flows give what the commands give; their times are the mill's own."""

import asyncio
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
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


def test_a_flow_gives_what_the_command_gives(tmp_path):
    from pipeline.schedule import flows

    plain, scheduled = describe(tmp_path / "plain"), describe(tmp_path / "flow")
    stages.pull(plain, [ROOT / "sample_parquet" / "tags_week1.parquet"])
    shutil.copytree(plain.store_path, scheduled.store_path)
    expected = order.backfill(plain)
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
                flows.nightly,
                parameters={"mill_path": str(mill.config_path)},
                state=Running(),
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
    from contextlib import contextmanager

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
def test_a_scheduled_run_fires_and_is_seen_with_its_states(tmp_path):
    """Serve a mill whose run is due every few seconds; ask the server what became of it."""
    mill = describe(tmp_path / "mill")
    mill.inbox_path.mkdir()
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    days = tmp_path / "days.parquet"
    week.filter(pl.col("time") < week["time"].min() + timedelta(days=2)).write_parquet(days)
    stages.pull(mill, [days])
    script = tmp_path / "serve.py"
    script.write_text(SERVE, encoding="utf-8")
    environment = os.environ | {"PREFECT_HOME": str(tmp_path / "prefect")}
    environment.pop("PREFECT_API_URL", None)
    command = [sys.executable, str(script), str(mill.config_path)]
    told = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=110, check=False
    )
    assert told.returncode == 0, told.stderr[-2000:]
    states = json.loads(told.stdout.splitlines()[-1])
    assert states["nightly"] == "COMPLETED"
    stages_seen = ("pull", "sources", "derive", "detect", "report")
    assert states["tasks"] == dict.fromkeys(stages_seen, "COMPLETED")
    assert store_of(mill).runs()["state"].to_list() == ["finished"]


#: What lostpol serve does, with a night every few seconds, until one was seen to end.
SERVE = """
import asyncio, json, sys
from datetime import timedelta
from pathlib import Path
from pipeline.schedule import flows
from pipeline.mill.description import load_mill
from prefect import get_client
from prefect.runner import Runner

async def seen():
    async with get_client() as client:
        for run in await client.read_flow_runs():
            if run.state_type and run.state_type.value in {"COMPLETED", "FAILED", "CRASHED"}:
                await asyncio.sleep(3)  # the server writes states of tasks a little later
                tasks = [t for t in await client.read_task_runs() if t.flow_run_id == run.id]
                names = {t.name.rsplit("-", 1)[0]: t.state_type.value for t in tasks}
                return {"nightly": run.state_type.value, "tasks": names}
    return None

async def main(made):
    runner = Runner(name="test", query_seconds=1, limit=1)
    made.schedules = [s.model_copy(update={"schedule": EVERY}) for s in made.schedules]
    await runner.aadd_deployment(made)
    work = asyncio.create_task(runner.start())
    for _ in range(100):
        await asyncio.sleep(1)
        found = await seen()
        if found:
            break
    print(json.dumps(found), flush=True)
    work.cancel()

if __name__ == "__main__":
    from prefect.client.schemas.schedules import IntervalSchedule
    EVERY = IntervalSchedule(interval=timedelta(seconds=5))
    with flows.scheduling_server():
        asyncio.run(main(flows.deployments([load_mill(Path(sys.argv[1]))])[0]))
"""
