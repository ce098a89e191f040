"""The same lake in a folder, on a share and in an object store: same bytes, whole or not at all."""

import errno
import multiprocessing
import os
import pickle
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import fsspec
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lakes import DAYS, describe, files_of, in_memory, read
from slow_case import slow

from pipeline.base.errors import DataError
from pipeline.base.window import ONE_DAY
from pipeline.care.tidy import make_room
from pipeline.lake import storage
from pipeline.lake.coverage import lake_of
from pipeline.lake.lake import Lake
from pipeline.lake.objects import ObjectStorage, _opened
from pipeline.lake.storage import FolderStorage, storage_at
from pipeline.stages import stages
from pipeline.store.folders import store_of

NAME = "readings/date=2025-10-13/readings.parquet"


def worked_out(mill, exports, spread=stages.one_by_one):
    for file in exports:
        stages.pull(mill, [file])
        stages.derive(mill, spread=spread)
    stages.detect(mill, "nightly", spread=spread)
    return mill


@pytest.fixture(scope="module")
def usual(tmp_path_factory, two_exports):
    """What the usual lake and store hold in the end; not to be changed."""
    mill = worked_out(describe(tmp_path_factory.mktemp("usual")), two_exports)
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


@pytest.mark.parametrize("kind", ["folder", slow("file URL"), slow("memory")])
def test_a_lake_elsewhere_has_the_same_bytes_and_findings(tmp_path, two_exports, usual, kind):
    lake = {
        "folder": "../share/lake",
        "file URL": (tmp_path / "by url").as_uri(),
        "memory": in_memory(),
    }[kind]
    mill = worked_out(describe(tmp_path / "mill", lake), two_exports)
    assert_same(mill, usual)
    assert mill.config_hash == usual[0].config_hash
    left = {path.name for path in mill.store_path.iterdir()}
    assert "findings.duckdb" in left
    assert not list((mill.store_path / "lake").rglob("*.parquet"))


@pytest.mark.slow
def test_a_lake_in_s3_is_worked_out_by_workers_that_have_nothing_else(
    tmp_path, two_exports, usual, bucket
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

        worked_out(mill, two_exports, spread)
    assert_same(mill, usual)


def elsewhere(sent):
    work, pieces = pickle.loads(sent)
    for piece in pieces:
        work(*piece)


def test_from_another_disk_a_file_is_copied_beside_its_place_first(tmp_path, monkeypatch):
    real, moved = storage.replace_file, []

    def other_disk(part, path):
        if part.parent != path.parent:
            raise OSError(errno.EXDEV, "another disk")
        moved.append(part.name)
        real(part, path)

    monkeypatch.setattr(storage, "replace_file", other_disk)
    place = storage_at(tmp_path / "lake")
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
        from pipeline.mill.export_layout import Exports

        return Exports()

    @property
    def unit_changes(self):
        from pipeline.mill.units import UnitChange

        return dict.fromkeys("AB", UnitChange())


ROWS = st.lists(
    st.tuples(st.integers(0, 70), st.sampled_from("ABX"), st.sampled_from([1.0, 2.5, 7.0])),
    min_size=1,
    max_size=6,
)


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(pulls=st.lists(st.tuples(ROWS, st.integers(0, 9)), min_size=1, max_size=3))
def test_pulls_stopped_anywhere_leave_what_undisturbed_ones_leave(tmp_path_factory, pulls):
    """Each pull is stopped before its n-th writing, then done again; readers see whole days."""
    from pipeline.pull.pull import pull_files

    folder = tmp_path_factory.mktemp("stops")
    calm = SmallMill(folder / "lake", folder / "calm")
    torn = SmallMill(in_memory(), folder / "torn")
    for number, (rows, stop) in enumerate(pulls):
        start = datetime(2025, 10, 6, tzinfo=UTC)
        file = folder / f"{number}.csv"
        # A file without any tag of the mill is refused.
        lines = [
            f"{start + timedelta(hours=h):%Y-%m-%dT%H:%M:%SZ},{t},{v}"
            for h, t, v in [*rows, (71, "A", 1.0)]
        ]
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
    real, left = ObjectStorage._send, [number]

    def send(self, content, name):
        left[0] -= 1
        if left[0] < 0:
            raise Stopped
        real(self, content, name)

    patch.setattr(ObjectStorage, "_send", send)


@pytest.mark.slow
@pytest.mark.parametrize("stop", [1, 2, 3, 4])
def test_a_pull_into_s3_that_is_stopped_is_completed_by_the_next(
    tmp_path, two_exports, bucket, stop, monkeypatch
):
    """The probe comes first, then two days, then the note; stopped before each, then after all."""
    mill = describe(tmp_path / "mill", bucket)
    with monkeypatch.context() as patch, pytest.raises(Stopped) if stop < 4 else nullcontext():
        stop_before(patch, stop)
        stages.pull(mill, two_exports[:1])
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


def places(tmp_path, bucket):
    return [storage_at(tmp_path / "lake"), storage_at(in_memory()), storage_at(bucket)]


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
    place = storage_at(in_memory())
    with pytest.raises(ValueError, match="within the lake"):
        place.write(name, lambda file: file.write(b"x"))
    if name.startswith(("..", "a/..", "/")):
        with pytest.raises(DataError, match="leads out"):
            FolderStorage(tmp_path / "lake").write(name, lambda file: file.write(b"x"))


def test_a_place_without_links_is_not_looked_up_from_the_top_of_the_disk(tmp_path, monkeypatch):
    place = storage_at(tmp_path / "lake")
    place.write(NAME, lambda file: file.write(b"x"))
    with monkeypatch.context() as patch:
        patch.setattr(Path, "resolve", lambda *_: pytest.fail("every folder above is asked"))
        assert read(place, NAME) == b"x"
    (tmp_path / "out").mkdir()
    (tmp_path / "lake" / "features").symlink_to(tmp_path / "out")
    with pytest.raises(DataError, match="leads out"):
        place.exists("features/grid/date=2025-10-13/grid.parquet")


def test_days_on_a_disk_are_opened_without_asking_first(tmp_path, monkeypatch):
    lake = Lake(tmp_path / "lake")
    first = date(2025, 10, 6)
    for n in (0, 7):
        lake.write_features("grid", first + n * ONE_DAY, pl.DataFrame({"n": [n]}))
    monkeypatch.setattr(FolderStorage, "existing", lambda *_: pytest.fail("asked first"))
    assert lake.read_features("grid", first, first + 9 * ONE_DAY)["n"].to_list() == [0, 7]


def test_a_day_worked_out_elsewhere_is_seen_at_once(bucket):
    place = storage_at(bucket)
    worker = fsspec.filesystem("s3", skip_instance_cache=True)
    other = NAME.replace("2025-10-13", "2025-10-14")
    for names in ([NAME], [NAME, other]):
        worker.pipe_file(f"{bucket}/{names[-1]}", b"x")
        assert place.find("readings/date=*/readings.parquet") == names
        assert place.exists(names[-1])
    signed = place.signature(NAME)
    worker.pipe_file(f"{bucket}/{NAME}", b"y")
    assert read(place, NAME) == b"y"
    assert place.signature(NAME) != signed


def test_a_large_day_is_fetched_in_one_piece(bucket, monkeypatch):
    place = storage_at(bucket)
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
    place = lake_of(mill).storage
    for day in ("2023-10-01", "2025-10-13"):
        name = NAME.replace("2025-10-13", day)
        place.write(name, lambda file: file.write(usual[1][NAME]))
    place.write(f"refused/{'a' * 64}.parquet", lambda file: file.write(b"x"))
    store_of(mill).record_pull([], [])
    told = make_room(mill, dry_run=True)
    assert [item.path for item in told.items] == [f"{mill.lake_path}/readings/date=2023-10-01"]
    assert make_room(mill, dry_run=False).items == told.items
    assert lake_of(mill).days() == DAYS[:1]


def test_choice_of_places_is_by_kind(tmp_path):
    url = "s3://bucket/mill/"
    assert storage_at(url).root == url[:-1]
    assert storage_at(tmp_path).root == tmp_path.resolve()
    assert pickle.loads(pickle.dumps(storage_at(url))) == storage_at(url)
