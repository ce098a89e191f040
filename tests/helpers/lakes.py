"""Mills whose lake lies elsewhere, what such a lake holds, and a server of the S3 protocol."""

import logging
from contextlib import ExitStack, contextmanager
from datetime import date
from pathlib import Path
from uuid import uuid4

import fsspec
import polars as pl
import pytest

from pipeline.lake.objects import _opened
from pipeline.mill.description import load_mill

ROOT = Path(__file__).resolve().parents[2]
DAYS = [date(2025, 10, 13), date(2025, 10, 14)]
TAGS = ("ST.AI308", "LT.AI212")


def describe(folder, lake=None, more=""):
    """Brindlewater without mail, its store in `folder`, its lake where it is told."""
    folder.mkdir(parents=True, exist_ok=True)
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    places = '"store"' if lake is None else f'"store"\nlake = "{lake}"'
    text = (text[:start] + text[end:]).replace('"../lostpol_store/brindlewater"', places)
    (folder / "mill.toml").write_text(text + more, encoding="utf-8")
    return load_mill(folder / "mill.toml")


def files_of(mill):
    """Every file at the place of a lake, asked of the system itself, but for what waits for it."""
    system, root = fsspec.core.url_to_fs(
        str(mill.lake_path), use_listings_cache=False, skip_instance_cache=True
    )
    names = {path.removeprefix(root).strip("/"): path for path in system.find(root)}
    return {
        name: system.cat_file(path)
        for name, path in names.items()
        if not name.startswith("incoming/")
    }


def in_memory():
    return f"memory://{uuid4().hex}/lake"


def two_days(folder):
    """Two days of tags with a loss; then exports that correct and repeat some, with odd rows."""
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week2.parquet")
    week = week.filter(pl.col("time").dt.date().is_in(DAYS))
    week.write_parquet(folder / "tags_a.parquet")
    again = week.filter(pl.col("time").dt.date() == DAYS[1], pl.col("tag").is_in(TAGS))
    odd = again.head(3).with_columns(tag=pl.lit("NOT.OURS"))
    again = again.with_columns(value=pl.col("value") + 0.01)
    pl.concat([again, odd]).write_parquet(folder / "tags_b.parquet")
    return [folder / "tags_a.parquet", folder / "tags_b.parquet"]


def read(place, name):
    with place.open(name) as file:
        return file.read()


@contextmanager
def s3_server():
    """An S3 server of this machine, of the real protocol; its keys are in the environment."""
    pytest.importorskip("s3fs", reason="s3fs is not installed: pip install -e '.[objects]'")
    moto = pytest.importorskip("moto.server", reason="moto is not installed: it is a dev extra")
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = moto.ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    with pytest.MonkeyPatch.context() as patch, ExitStack() as at_end:
        at_end.callback(_opened.cache_clear)
        server.start()
        at_end.callback(server.stop)
        host, port = server.get_host_and_port()
        for name, value in {
            "AWS_ENDPOINT_URL": f"http://{host}:{port}",
            "AWS_ACCESS_KEY_ID": "a-key-of-the-tests",
            "AWS_SECRET_ACCESS_KEY": "its-secret",
            "AWS_DEFAULT_REGION": "us-east-1",
            "AWS_MAX_ATTEMPTS": "1",
            "NO_PROXY": "127.0.0.1",
            "no_proxy": "127.0.0.1",
        }.items():
            patch.setenv(name, value)
        yield f"http://{host}:{port}"
