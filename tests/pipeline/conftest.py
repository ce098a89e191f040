"""What several files of tests share."""

from datetime import UTC, date, datetime
from uuid import uuid4

import fsspec
import pytest
from checkouts import small_checkout
from chromium import CHROMIUM
from lakes import s3_server, two_days
from processes import PATIENCE_S
from pulling import START, lake_bytes, long_frame, pulled

from pipeline.cli import demo
from pipeline.stages import stages


@pytest.fixture(scope="session")
def prefect_server(tmp_path_factory):
    """Address of the server that a site without one gets; ten seconds, so one for all tests.

    It has a port and a history of its own. Left running, it would fail the session.
    """
    # First, because it switches reporting to others off before Prefect reads its settings.
    from pipeline.schedule import flows, server  # isort: skip
    from prefect.settings import PREFECT_API_URL, PREFECT_HOME, temporary_settings

    home = tmp_path_factory.mktemp("prefect")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PREFECT_HOME", str(home))
        patch.delenv("PREFECT_API_URL", raising=False)
        patch.setattr(server, "_PATIENCE_S", PATIENCE_S)
        with (
            temporary_settings(updates={PREFECT_HOME: home}, restore_defaults={PREFECT_API_URL}),
            flows.scheduling_server() as ours,
        ):
            yield ours.url


@pytest.fixture(name="reference")
def _reference(tmp_path):
    """All of the lake that `long_frame` leaves, pulled into ``reference`` below `tmp_path`."""
    path = tmp_path / "tags.parquet"
    long_frame().write_parquet(path)
    mill, result = pulled(tmp_path, "reference", path)
    assert result.days_changed == (date(2025, 10, 6), date(2025, 10, 7))
    assert result.missing_tags == ("LAB CJ rs",)
    assert result.sources[0].kept == 1200
    assert result.sources[0].first_utc == START
    return lake_bytes(mill)


@pytest.fixture(scope="module")
def chromium():
    """A browser for the tests of a file; it may not outlive them, for it runs a loop of its own."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def s3():
    """Address of an S3 server of this machine, whose keys are in the environment meanwhile."""
    with s3_server() as address:
        yield address


@pytest.fixture
def bucket(s3):
    """URL of a prefix in a new bucket."""
    name = f"mill-{uuid4().hex}"
    fsspec.filesystem("s3", skip_instance_cache=True).mkdir(name)
    return f"s3://{name}/brindlewater"


@pytest.fixture(scope="module")
def two_exports(tmp_path_factory):
    """Exports of two days, see `lakes.two_days`."""
    return two_days(tmp_path_factory.mktemp("two_exports"))


@pytest.fixture(scope="session")
def searched(tmp_path_factory):
    """Folder of a mill with four and a half days searched; not to be changed."""
    tags = (datetime(2025, 10, 9, tzinfo=UTC), datetime(2025, 10, 13, 12, tzinfo=UTC))
    lab = ("2025-10-08 20", "2025-10-13 08")
    checkout = small_checkout(tmp_path_factory.mktemp("checkout"), tags, lab)
    folder = tmp_path_factory.mktemp("searched")
    # Without the reports of a demonstration: the dossier needs store and lake alone.
    made, files = demo.prepare(folder, checkout)
    stages.pull(made, files)
    stages.derive(made)
    stages.detect(made, "backfill")
    return folder / demo.FOLDER
