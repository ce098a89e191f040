"""The same lake in a folder, on a share and in an object store: same bytes, whole or not at all."""

import errno
import logging
import multiprocessing
import os
import pickle
import random
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import fsspec
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import lake_place, stages
from pipeline.cli import run
from pipeline.config import load_mill
from pipeline.doctor import examine
from pipeline.errors import ConfigError, DataError
from pipeline.lake_objects import ObjectPlace, _opened
from pipeline.lake_place import FolderPlace, place_at
from pipeline.vacuum import vacuum
from pipeline.windows import lake_of, store_of

ROOT = Path(__file__).resolve().parents[2]
DAYS = [date(2025, 10, 13), date(2025, 10, 14)]
TAGS = ("ST.AI308", "LT.AI212")
NAME = "readings/date=2025-10-13/readings.parquet"


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
    system, root = fsspec.core.url_to_fs(str(mill.lake_path), use_listings_cache=False)
    names = {path.removeprefix(root).strip("/"): path for path in system.find(root)}
    return {
        name: system.cat_file(path)
        for name, path in names.items()
        if not name.startswith("incoming/")
    }


@pytest.fixture(scope="module")
def s3():
    """An S3 server of this machine, of the real protocol; its keys are in the environment."""
    pytest.importorskip("s3fs", reason="s3fs is not installed: pip install -e '.[objects]'")
    moto = pytest.importorskip("moto.server", reason="moto is not installed: it is a dev extra")
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = moto.ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    with pytest.MonkeyPatch.context() as patch:
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
    _opened.cache_clear()
    server.stop()


@pytest.fixture
def bucket(s3):
    """URL of a prefix in a new bucket."""
    name = f"mill-{uuid4().hex}"
    fsspec.filesystem("s3", skip_instance_cache=True).mkdir(name)
    return f"s3://{name}/brindlewater"


def in_memory():
    return f"memory://{uuid4().hex}/lake"


@pytest.fixture(scope="module")
def exports(tmp_path_factory):
    """Two days of tags with a loss, then one that corrects and repeats some of them; odd rows."""
    folder = tmp_path_factory.mktemp("exports")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week2.parquet")
    week = week.filter(pl.col("time").dt.date().is_in(DAYS))
    week.write_parquet(folder / "tags_a.parquet")
    again = week.filter(pl.col("time").dt.date() == DAYS[1], pl.col("tag").is_in(TAGS))
    odd = again.head(3).with_columns(tag=pl.lit("NOT.OURS"))
    again = again.with_columns(value=pl.col("value") + 0.01)
    pl.concat([again, odd]).write_parquet(folder / "tags_b.parquet")
    return [folder / "tags_a.parquet", folder / "tags_b.parquet"]


def worked_out(mill, exports, spread=stages.one_by_one):
    for file in exports:
        stages.pull(mill, [file])
        stages.derive(mill, spread=spread)
    stages.detect(mill, "nightly", spread=spread)
    return mill


@pytest.fixture(scope="module")
def usual(tmp_path_factory, exports):
    """What the usual lake and store hold in the end; not to be changed."""
    mill = worked_out(describe(tmp_path_factory.mktemp("usual")), exports)
    assert store_of(mill).findings().height > 0
    return mill, files_of(mill)


def assert_same(mill, usual):
    expected, files = usual
    held = files_of(mill)
    assert sorted(held) == sorted(files)
    assert held == files
    assert store_of(mill).findings().equals(store_of(expected).findings())
    assert (
        store_of(mill).runs()["run_id"].to_list() == store_of(expected).runs()["run_id"].to_list()
    )
    assert not mill.incoming_path.exists()


# The same wherever it lies ------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["folder", "file URL", "memory"])
def test_a_lake_elsewhere_has_the_same_bytes_and_findings(tmp_path, exports, usual, kind):
    lake = {
        "folder": "../share/lake",
        "file URL": (tmp_path / "by url").as_uri(),
        "memory": in_memory(),
    }[kind]
    mill = worked_out(describe(tmp_path / "mill", lake), exports)
    assert_same(mill, usual)
    assert mill.config_hash == usual[0].config_hash
    left = {path.name for path in mill.store_path.iterdir()}
    assert {"findings.duckdb", "run.lock"} & left
    assert not list((mill.store_path / "lake").rglob("*.parquet"))


def test_a_lake_in_s3_is_worked_out_by_workers_that_have_nothing_else(
    tmp_path, exports, usual, bucket
):
    mill = describe(tmp_path / "mill", bucket)
    hidden = mill.store_path.with_name("hidden")
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as worker:

        def spread(work, pieces, done):
            sent = pickle.dumps((work, list(pieces)))
            assert b"its-secret" not in sent
            mill.store_path.rename(hidden)
            worker.submit(elsewhere, sent).result()
            assert not mill.store_path.exists()
            hidden.rename(mill.store_path)
            done(len(pieces))

        worked_out(mill, exports, spread)
    assert_same(mill, usual)


def elsewhere(sent):
    work, pieces = pickle.loads(sent)
    for piece in pieces:
        work(*piece)


def test_from_another_disk_a_file_is_copied_beside_its_place_first(tmp_path, monkeypatch):
    real, moved = lake_place.put_in_place, []

    def other_disk(part, path):
        if part.parent != path.parent:
            raise OSError(errno.EXDEV, "another disk")
        moved.append(part.name)
        real(part, path)

    monkeypatch.setattr(lake_place, "put_in_place", other_disk)
    place = place_at(tmp_path / "lake")
    part = tmp_path / "part"
    part.write_bytes(b"day")
    place.take(part, NAME)
    assert read(place, NAME) == b"day"
    assert moved == ["readings.parquet.part"]
    assert not part.exists()
    assert place.leftovers() == []


# Stopped at any moment ----------------------------------------------------------------------------


@dataclass(frozen=True)
class SmallMill:
    """Just what a pull needs to know."""

    lake_path: Path | str
    incoming_path: Path
    zone: str = "UTC"
    ambiguous: str = "first"
    missing: str = "shift_forward"

    @property
    def exports(self):
        from pipeline.config_models import Exports

        return Exports()

    @property
    def unit_changes(self):
        from pipeline.units import UnitChange

        return dict.fromkeys("AB", UnitChange())


ROWS = st.lists(
    st.tuples(st.integers(0, 70), st.sampled_from("ABX"), st.sampled_from([1.0, 2.5, 7.0])),
    min_size=1,
    max_size=6,
)


@settings(max_examples=8, deadline=None)
@given(pulls=st.lists(st.tuples(ROWS, st.integers(0, 9)), min_size=1, max_size=3))
def test_pulls_stopped_anywhere_leave_what_undisturbed_ones_leave(tmp_path_factory, pulls):
    """Each pull is stopped before its n-th writing, then done again; readers see whole days."""
    from pipeline.pull import pull_files

    folder = tmp_path_factory.mktemp("stops")
    calm = SmallMill(folder / "lake", folder / "calm")
    torn = SmallMill(in_memory(), folder / "torn")
    for number, (rows, stop) in enumerate(pulls):
        start = datetime(2025, 10, 6, tzinfo=UTC)
        file = folder / f"{number}.csv"
        lines = [f"{start + timedelta(hours=h):%Y-%m-%dT%H:%M:%SZ},{t},{v}" for h, t, v in rows]
        file.write_text("\n".join(["time,tag,value", *lines]) + "\n", encoding="utf-8")
        before = days_of(calm)
        told = [pull_files(calm, [file])]
        with pytest.MonkeyPatch.context() as patch, suppress(Stopped):
            stop_before(patch, stop)
            pull_files(torn, [file])
        assert days_of(torn).items() <= before.items() | days_of(calm).items()
        told.append(pull_files(torn, [file]))
        assert days_of(torn) == days_of(calm)
        assert told[0].sources[0].sha256 == told[1].sources[0].sha256
    assert files_of(torn) == files_of(calm)
    assert not torn.incoming_path.exists()


def days_of(mill):
    return {n: b for n, b in files_of(mill).items() if n.startswith("readings/")}


class Stopped(BaseException):
    """As by a kill: nothing catches it."""


def stop_before(patch, number):
    """Stop before the writing of this number to an object store."""
    real, left = ObjectPlace._send, [number]

    def send(self, content, name):
        left[0] -= 1
        if left[0] < 0:
            raise Stopped
        real(self, content, name)

    patch.setattr(ObjectPlace, "_send", send)


@pytest.mark.parametrize("stop", [1, 2, 3, 4])
def test_a_pull_into_s3_that_is_stopped_is_completed_by_the_next(
    tmp_path, exports, bucket, stop, monkeypatch
):
    """The probe comes first, then two days, then the note; stopped before each, then after all."""
    mill = describe(tmp_path / "mill", bucket)
    with monkeypatch.context() as patch, pytest.raises(Stopped) if stop < 4 else nullcontext():
        stop_before(patch, stop)
        stages.pull(mill, exports[:1])
    if stop == 4:
        return
    assert lake_of(mill).days() == DAYS[: stop - 1]
    assert stages.pull(mill, []).days_changed == tuple(DAYS)
    sources = store_of(mill).sources()
    assert sources["rows_kept"].to_list() == sources["rows_read"].to_list()
    assert lake_of(mill).days() == DAYS
    assert store_of(mill).pending_days() == tuple(DAYS)
    assert not mill.incoming_path.exists()


# Places and what they refuse ----------------------------------------------------------------------


def read(place, name):
    with place.open(name) as file:
        return file.read()


def places(tmp_path, bucket):
    return [place_at(tmp_path / "lake"), place_at(in_memory()), place_at(bucket)]


def test_places_answer_alike(tmp_path, bucket):
    part = tmp_path / "part"
    answers = []
    for place in places(tmp_path, bucket):
        place.make_ready()
        assert place.find("*") == place.day_folders() == place.leftovers() == []
        names = [f"features/grid/date=2025-10-0{n}/grid.parquet" for n in range(1, 6)]
        for name in names:
            place.write(name, lambda file: file.write(b"one"))
        signed = place.signature(names[0])
        assert place.signature(names[0]) == signed
        part.write_bytes(b"other")
        place.take(part, names[0])
        assert not part.exists()
        assert place.signature(names[0]) != signed
        place.remove("features/grid/date=2025-10-05")
        place.delete(names[1])
        place.delete(names[1])
        with pytest.raises(FileNotFoundError):
            read(place, names[1])
        place.write(names[1], lambda file: file.write(b"two"))
        assert time.time() - place.modified_s(names[0]) < 3600
        answers.append(
            [
                place.find("features/grid/date=*/grid.parquet"),
                place.find("features/*/*/gr*.parquet"),
                place.find("features/*.parquet"),
                place.existing([*names, NAME]),
                place.existing(names[1:3]),
                place.day_folders(),
                place.size_bytes("features/grid/date=2025-10-01"),
                place.size_bytes(names[2]),
                read(place, names[0]),
                place.where("x").removeprefix(str(place.root)),
            ]
        )
    assert answers[0] == answers[1] == answers[2]


@pytest.mark.parametrize("name", ["../out", "a/../../b", "/a", "a//b", "a\\b", "."])
def test_names_that_lead_out_of_a_place_are_refused(tmp_path, name):
    place = place_at(in_memory())
    with pytest.raises(ValueError, match="within the lake"):
        place.write(name, lambda file: file.write(b"x"))
    if name.startswith(("..", "a/..", "/")):
        with pytest.raises(DataError, match="leads out"):
            FolderPlace(tmp_path / "lake").write(name, lambda file: file.write(b"x"))


def test_a_day_worked_out_elsewhere_is_seen_at_once(bucket):
    one, other = place_at(bucket), place_at(bucket)
    assert other.find("readings/date=*/readings.parquet") == []
    one.write(NAME, lambda file: file.write(b"x"))
    assert other.find("readings/date=*/readings.parquet") == [NAME]
    assert other.exists(NAME)


def test_a_large_day_is_fetched_in_one_piece(bucket, monkeypatch):
    place = place_at(bucket)
    place.write(NAME, lambda file: file.write(b"a day of many readings"))
    system, _ = _opened(bucket, os.getpid())
    asked = []
    real = type(system)._call_s3

    def watched(self, method, *arguments, **options):
        asked.append(method)
        return real(self, method, *arguments, **options)

    monkeypatch.setattr(type(system), "_call_s3", watched)
    monkeypatch.setattr(system, "default_block_size", 4)
    assert read(place, NAME) == b"a day of many readings"
    assert asked == ["get_object"]


def test_old_seasons_and_refused_rows_of_an_object_store_go_by_rule(tmp_path, usual):
    mill = describe(tmp_path, in_memory(), "\n[keep]\nreadings_days = 365\nrefused_days = 30\n")
    place = lake_of(mill).place
    for day in ("2023-10-01", "2025-10-13"):
        name = NAME.replace("2025-10-13", day)
        place.write(name, lambda file: file.write(usual[1][NAME]))
    place.write(f"refused/{'a' * 64}.parquet", lambda file: file.write(b"x"))
    store_of(mill).record_pull([], [])
    told = vacuum(mill, dry_run=True)
    assert [item.path for item in told.items] == [f"{mill.lake_path}/readings/date=2023-10-01"]
    assert vacuum(mill, dry_run=False).items == told.items
    assert lake_of(mill).days() == DAYS[:1]


# What can be wrong --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lake", "said"),
    [
        ("s3://key:hidden-word@bucket/mill", "holds a user name or password"),
        ("s3://hidden-word@bucket/mill", "holds a user name or password"),
        ("s3://bucket/mill?token=hidden-word", "where secrets stand"),
        ("s3://bucket/mill#hidden-word", "where secrets stand"),
        ("sftp://host/mill", "mount it as a folder"),
        ("simplecache::s3://bucket/mill", "not the scheme"),
        ("S3:/bucket", "does not name a bucket"),
        ("s3://", "does not name a bucket"),
        ("s3://bucket/../other", "without .."),
        ("s3://bucket//mill", "without .."),
        ("s3://bucket/%2e%2e/mill", "without .."),
        ("s3://[bucket/mill", "is no URL"),
        ("file://mill/lake", "three slashes"),
        (".", "holds the store"),
        ("", "at least 1 character"),
    ],
)
def test_a_place_that_cannot_be_is_refused_and_no_secret_shown(tmp_path, lake, said, capsys):
    with pytest.raises(ConfigError) as caught:
        describe(tmp_path, lake)
    assert said in str(caught.value)
    assert "hidden-word" not in str(caught.value)
    assert run(["check", str(tmp_path / "mill.toml")]) == 2
    shown = capsys.readouterr()
    assert "hidden-word" not in shown.out + shown.err


def test_a_store_with_a_password_is_refused_and_the_password_not_shown(tmp_path):
    describe(tmp_path)
    text = (tmp_path / "mill.toml").read_text(encoding="utf-8")
    text = text.replace('store = "store"', 'store = "s3://key:hidden-word@bucket"')
    (tmp_path / "mill.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match="is a URL") as caught:
        load_mill(tmp_path / "mill.toml")
    assert "hidden-word" not in str(caught.value)


def test_a_mill_given_another_store_leaves_its_lake_alone(tmp_path):
    mill = describe(tmp_path, in_memory())
    assert mill.with_store(tmp_path / "other").lake_path == tmp_path / "other" / "lake"


def told_by_doctor(mill):
    return {sign.about: sign for sign in examine(mill)}["Lake"]


def test_a_lake_that_answers_is_well_and_left_as_it_was(tmp_path, bucket):
    for lake in (bucket, in_memory()):
        mill = describe(tmp_path, lake)
        sign = told_by_doctor(mill)
        assert (sign.state, sign.what) == ("fine", f"can be reached and written: {lake}")
        assert files_of(mill) == {}
    mill = describe(tmp_path, "../nowhere")
    assert told_by_doctor(mill).state == "look"
    rooms = [sign.what for sign in examine(mill) if sign.about == "Disk"]
    assert [
        what.endswith(str(at)) for what, at in zip(rooms, (mill.store_path, mill.lake), strict=True)
    ]


def test_a_lake_out_of_reach_is_told_in_words_and_ends_with_eight(
    tmp_path, exports, s3, monkeypatch, capsys
):
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    mill = describe(tmp_path, f"s3://{uuid4().hex}/mill")
    assert run(["pull", str(mill.config_path), str(exports[0])]) == 8
    said = " ".join(capsys.readouterr().err.split())
    assert "cannot be reached" in said
    assert "Traceback" not in said
    assert "AWS_ENDPOINT_URL" in said
    assert run(["nightly", str(mill.config_path)]) == 8
    assert run(["doctor", str(mill.config_path)]) == 7
    assert told_by_doctor(mill).state == "wrong"


def test_an_absent_bucket_and_refused_keys_are_told(tmp_path, exports, s3, bucket, capsys):
    absent = describe(tmp_path / "absent", f"s3://{uuid4().hex}/mill")
    assert run(["pull", str(absent.config_path), str(exports[0])]) == 8
    assert "no such bucket" in capsys.readouterr().err
    assert "no such bucket" in told_by_doctor(absent).what
    mill = describe(tmp_path / "refused", bucket)
    with only_known_keys(s3):
        assert run(["pull", str(mill.config_path), str(exports[0])]) == 8
    said = " ".join(capsys.readouterr().err.split())
    assert "refuses" in said
    assert "AWS_SECRET_ACCESS_KEY" in said
    assert "its-secret" not in said


class only_known_keys:  # noqa: N801  (reads as a function)
    """Let the server refuse keys that nobody was given."""

    def __init__(self, url):
        self.url = f"{url}/moto-api/reset-auth"

    def ask(self, allowed):
        import urllib.request

        head = {"Content-Type": "text/plain"}
        request = urllib.request.Request(self.url, allowed.encode(), head, method="POST")
        urllib.request.urlopen(request, timeout=5).close()

    def __enter__(self):
        self.ask("0")

    def __exit__(self, *_):
        self.ask("inf")


def test_a_scheme_without_its_library_says_what_to_install(tmp_path, monkeypatch):
    mill = describe(tmp_path, f"s3://{uuid4().hex}/mill")

    def absent(*_, **__):
        raise ImportError("Install s3fs to access S3")

    monkeypatch.setattr("fsspec.core.url_to_fs", absent)
    with pytest.raises(ConfigError, match=r"\.\[objects\]"):
        lake_of(mill).days()


def test_a_lake_that_may_not_be_written_ends_with_eight(tmp_path, exports, capsys):
    (tmp_path / "share").write_text("no folder")
    mill = describe(tmp_path / "mill", "../share/lake")
    assert run(["pull", str(mill.config_path), str(exports[0])]) == 8
    assert "mounted" in capsys.readouterr().err


def test_choice_of_places_is_by_kind(tmp_path):
    rng = random.Random(1)
    url = f"s3://bucket/{rng.random()}/"
    assert place_at(url).root == url[:-1]
    assert place_at(tmp_path).root == tmp_path.resolve()
    assert pickle.loads(pickle.dumps(place_at(url))) == place_at(url)
