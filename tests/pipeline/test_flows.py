"""Scheduled flows give what the commands give; their times are the mill's own."""

import asyncio
import json
import os
import shutil
import sys
import urllib.request
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import processes
import pytest

from pipeline import chains, stages
from pipeline.config import load_mill
from pipeline.lock import only_run
from pipeline.windows import store_of

ROOT = Path(__file__).resolve().parents[2]
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
    from pipeline import flows

    plain, scheduled = describe(tmp_path / "plain"), describe(tmp_path / "flow")
    stages.pull(plain, [ROOT / "sample_parquet" / "tags_week1.parquet"])
    shutil.copytree(plain.store_path, scheduled.store_path)
    expected = chains.backfill(plain)
    report = Path(flows.backfill(str(scheduled.config_path)))
    assert report.parent.name == expected.report.parent.name
    assert store_of(scheduled).findings().equals(store_of(plain).findings())
    assert store_of(scheduled).runs()["run_id"].to_list() == [expected.judged.run_id]


def test_a_flow_that_cannot_run_fails_with_the_reason(tmp_path):
    from pipeline import flows

    mill = describe(tmp_path / "empty")
    state = flows.nightly(str(mill.config_path), return_state=True)
    assert state.is_failed()
    assert "Nothing was worked out yet" in state.message


def test_runs_that_were_killed_are_told_over_and_others_are_left_alone(tmp_path):
    from prefect import get_client
    from prefect.states import Running

    from pipeline import flows

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

    from pipeline import flows
    from pipeline.errors import ConfigError, DataError, LakeError

    for kind, again in ((LakeError, True), (DataError, False), (ConfigError, False)):
        state = Failed(data=kind("It broke.", "lake", "Mend it."))
        assert flows._may_pass(None, None, state) is again


def test_deployments_run_at_the_mills_own_times():
    from pipeline import flows

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
    assert {d.entrypoint for d in made} == {"pipeline.flows.nightly", "pipeline.flows.weekly"}


def test_a_site_with_its_own_server_keeps_it():
    from prefect.settings import PREFECT_API_URL, temporary_settings

    from pipeline import flows

    with (
        temporary_settings(updates={PREFECT_API_URL: "http://scheduler.example/api"}),
        flows.scheduling_server() as url,
    ):
        assert url == "http://scheduler.example/api"


#: In place of Prefect's server, which takes long to start: it answers that it is well.
SERVER = """
import sys
from http.server import BaseHTTPRequestHandler
from socketserver import TCPServer

class Well(BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200 if self.path == "/api/health" else 404)
        self.end_headers()
        self.wfile.write(b"in its place")

    def log_message(self, *_):
        pass

assert sys.argv[1:4] == ["server", "start", "--host"], sys.argv
TCPServer((sys.argv[4], int(sys.argv[6])), Well).serve_forever()
"""


def test_a_site_without_a_server_gets_one_that_ends_with_it(tmp_path, monkeypatch):
    """With a program in Prefect's place; all other tests here ask the real one, and so started."""
    from prefect.settings import PREFECT_API_URL, temporary_settings

    from pipeline import flows

    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    monkeypatch.setattr(flows, "_SERVER_PATIENCE_S", processes.PATIENCE_S)
    with monkeypatch.context() as patch, temporary_settings(restore_defaults={PREFECT_API_URL}):
        patch.setattr(flows, "_answers", lambda url: url == flows._USUAL_URL)
        with flows.scheduling_server() as url:  # somebody else's, started by hand
            assert url == flows._USUAL_URL
    (tmp_path / "prefect").mkdir()
    (tmp_path / "prefect" / "__init__.py").touch()
    (tmp_path / "prefect" / "__main__.py").write_text(SERVER, encoding="utf-8")
    monkeypatch.chdir(tmp_path)  # where the server's own folder is looked for first
    with processes.nothing_left():
        with (
            temporary_settings(restore_defaults={PREFECT_API_URL}),
            pytest.raises(KeyError, match="inside"),
            flows.scheduling_server(shared=False) as url,
        ):
            with urllib.request.urlopen(f"{url}/health", timeout=processes.PATIENCE_S) as answer:
                assert (answer.status, answer.read()) == (200, b"in its place")
            assert url.startswith("http://127.0.0.1:")
            assert os.environ["PREFECT_API_URL"] == url
            raise KeyError("inside")
        with pytest.raises(OSError, match="refused"):
            urllib.request.urlopen(f"{url}/health", timeout=10)
    assert "PREFECT_API_URL" not in os.environ


def test_a_serve_whose_server_is_gone_says_so_and_ends(monkeypatch, capsys):
    from pipeline import flows

    answers = iter([True, False, True, *[False] * 6])
    ended = []
    monkeypatch.setattr(flows, "_LOOK_S", 0.0)
    monkeypatch.setattr(flows, "_answers", lambda _: next(answers))
    monkeypatch.setattr(flows.os, "_exit", ended.append)
    flows._watch("http://127.0.0.1:1/api")
    assert ended == [1]
    assert next(answers, None) is None  # one that comes back in time is no fault
    assert "is gone" in capsys.readouterr().err


@pytest.mark.parametrize("around", ["2026-03-06", "2026-10-30"])
@pytest.mark.parametrize("at", ["05:00", "02:30", "01:30"])
def test_a_night_fires_once_a_local_day_across_both_changes_of_the_clock(around, at):
    from prefect.server.schemas.schedules import CronSchedule

    from pipeline import flows

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
def test_a_scheduled_run_fires_and_is_seen_with_its_states(tmp_path, prefect_server):
    """Serve a mill whose run is due every few seconds; ask the server what became of it."""
    mill = describe(tmp_path / "mill")
    mill.inbox_path.mkdir()
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    days = tmp_path / "days.parquet"
    week.filter(pl.col("time") < week["time"].min() + timedelta(days=2)).write_parquet(days)
    stages.pull(mill, [days])
    script = tmp_path / "serve.py"
    script.write_text(SERVE, encoding="utf-8")
    assert os.environ["PREFECT_API_URL"] == prefect_server
    command = [sys.executable, script, mill.config_path, processes.PATIENCE_S]
    code, said, errors = processes.ran(command, 2 * processes.PATIENCE_S)
    assert code == 0, errors[-2000:]
    seen = json.loads(said.splitlines()[-1])
    assert seen["runs"], errors[-2000:]
    stages_seen = dict.fromkeys(("pull", "sources", "derive", "detect", "report"), "COMPLETED")
    assert seen["runs"] == ["COMPLETED"] * len(seen["runs"])
    assert seen["tasks"] == [stages_seen] * len(seen["runs"])
    assert store_of(mill).runs()["state"].to_list() == ["finished"] * len(seen["runs"])


#: What lostpol serve does, with a night every few seconds, until one was seen to end. No more are
#: due then; one that began meanwhile is waited for.
SERVE = """
import asyncio, json, sys, time
from datetime import timedelta
from pathlib import Path
from pipeline import flows
from pipeline.config import load_mill
from prefect import get_client
from prefect.client.schemas.schedules import IntervalSchedule
from prefect.runner import Runner

EVERY = IntervalSchedule(interval=timedelta(seconds=5))
GIVE_UP = time.monotonic() + float(sys.argv[2])
WAITING, OVER = {"SCHEDULED"}, {"COMPLETED", "FAILED", "CRASHED", "CANCELLED"}

def state_of(run):
    return run.state_type.value if run.state_type else "SCHEDULED"

async def seen(client, deployment):
    ours = [r for r in await client.read_flow_runs() if r.deployment_id == deployment]
    begun = [r for r in ours if state_of(r) not in WAITING]
    tasks = [{} for _ in begun]
    for number, run in enumerate(begun):
        for task in await client.read_task_runs():
            if task.flow_run_id == run.id:
                tasks[number][task.name.rsplit("-", 1)[0]] = state_of(task)
    return {"runs": [state_of(run) for run in begun], "tasks": tasks}

def over(found):
    # The server writes the states of tasks a little later than those of their runs.
    states = [*found["runs"], *(s for tasks in found["tasks"] for s in tasks.values())]
    return bool(states) and set(states) <= OVER and all(len(t) >= 5 for t in found["tasks"])

async def main(made):
    runner = Runner(name="test", query_seconds=1, limit=1)
    made.schedules = [s.model_copy(update={"schedule": EVERY}) for s in made.schedules]
    deployment = await runner.aadd_deployment(made)
    work = asyncio.create_task(runner.start())
    paused, found = False, {"runs": [], "tasks": []}
    async with get_client() as client:
        while time.monotonic() < GIVE_UP and not (paused and over(found)):
            await asyncio.sleep(1)
            if work.done():
                work.result()
            found = await seen(client, deployment)
            if found["runs"] and not paused:
                await client.pause_deployment(deployment)
                paused = True
    print(json.dumps(found), flush=True)
    work.cancel()

if __name__ == "__main__":
    asyncio.run(main(flows.deployments([load_mill(Path(sys.argv[1]))])[0]))
"""
