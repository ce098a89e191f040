"""Scheduled flows give what the commands give; their times are the mill's own."""

import shutil
import urllib.request
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import chains, stages
from pipeline.config import load_mill
from pipeline.windows import store_of

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.prefect


@pytest.fixture(scope="session", autouse=True)
def temporary_server():
    # First, because it switches reporting to others off before Prefect reads its settings.
    from pipeline import flows  # noqa: F401, I001
    from prefect.testing.utilities import prefect_test_harness

    with prefect_test_harness(server_startup_timeout=120):
        yield


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


def test_a_site_without_a_server_gets_one_that_ends_with_it(tmp_path, monkeypatch):
    from prefect.settings import PREFECT_API_URL, temporary_settings

    from pipeline import flows

    monkeypatch.setenv("PREFECT_HOME", str(tmp_path))
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    with (
        temporary_settings(restore_defaults={PREFECT_API_URL}),
        flows.scheduling_server() as url,
        urllib.request.urlopen(f"{url}/health", timeout=10) as answer,
    ):
        assert answer.status == 200
        assert url.startswith("http://127.0.0.1:")
    with pytest.raises(OSError, match="refused"):
        urllib.request.urlopen(f"{url}/health", timeout=10)
