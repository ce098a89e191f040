"""Rotten files are named, set aside and made anew by the commands themselves."""

import json
import re
import shutil
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path

import bit_rot
import polars as pl
import pytest
from slow_case import slow

from pipeline.lake.coverage import lake_of
from pipeline.lake.intact import RottenError
from pipeline.pull.journal import open_journal
from pipeline.pull.marks import waiting
from pipeline.run import order
from pipeline.run.whole import kept_whole
from pipeline.stages import stages
from pipeline.stages.rot import mend
from pipeline.store.folders import store_of

DAY = date(2025, 10, 14)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A mill whose exports were pulled, one of them in full, and worked out; not to be changed."""
    with bit_rot.no_pages():
        return bit_rot.small_mill(tmp_path_factory.mktemp("made"))


@pytest.fixture
def store(made, tmp_path, monkeypatch):
    """That mill at its own place, to be spoilt; put back afterwards."""
    mill, exports = made
    kept = tmp_path / "kept"
    shutil.copytree(mill.config_path.parent.parent, kept)
    monkeypatch.setattr(order, "write_season_report", lambda mill, *_: mill.reports_path)
    yield mill, exports
    shutil.rmtree(mill.config_path.parent.parent)
    shutil.copytree(kept, mill.config_path.parent.parent)


def rot(mill, name):
    path = Path(mill.lake_path, name)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 8
    path.write_bytes(content)
    return path


def readings_of(mill, day=DAY):
    return lake_of(mill).readings_name(day)


def health(mill):
    _, text = bit_rot.quietly(["health", str(mill.config_path), "--json"])
    shown, _ = json.JSONDecoder().raw_decode(text)
    return [sign for sign in shown["signs"] if sign["about"] == "Stored days"]


@pytest.mark.slow
def test_eight_flipped_bits_are_named_and_cured(tmp_path):
    outcome = bit_rot.rot(tmp_path, flips=8, seed=3)
    assert outcome.flips.total() == outcome.named == outcome.whole == outcome.same_findings == 8
    assert outcome.silent == outcome.wrong == []


def test_all_at_once_is_made_whole_by_one_backfill(store):
    mill, _ = store
    before, found = bit_rot.state(mill), bit_rot.findings(mill)
    for name in before:
        rot(mill, name)
    assert len(health(mill)) > 3
    code, said = bit_rot.quietly(["backfill", str(mill.config_path)])
    assert code == 0, said
    assert bit_rot.state(mill) == before
    assert bit_rot.findings(mill).equals(found)
    assert "as it was" in " ".join(said.split())
    kept = [p for p in (mill.lake_path / "aside").rglob("*.1") if p.is_file()]
    assert len(kept) == len(before)
    assert [sign["state"] for sign in health(mill)] == ["fine"]


@pytest.mark.parametrize("with_readings", [True, slow(False)])
def test_a_night_that_meets_rot_mends_it_and_goes_on(store, with_readings):
    """A nightly run reads the search windows that see a changed day, and all they were told."""
    mill, _ = store
    before = bit_rot.state(mill)
    rot(mill, f"features/found/{found_day(mill)}/found.parquet")
    if with_readings:
        rot(mill, readings_of(mill))
    with pytest.raises(RottenError):
        stages.detect(mill, "nightly")
    outcome, mended = kept_whole(
        mill, lambda rotten: (rotten, stages.derive(mill), stages.detect(mill, "nightly"))
    )
    assert outcome[0] == []
    assert len(mended) == 1 + with_readings
    assert bit_rot.state(mill) == before


def found_day(mill):
    (day,) = (Path(mill.lake_path) / "features/found").iterdir()
    return day.name


def test_what_came_from_an_export_comes_back_when_it_is_pulled_again(store):
    """Pulling one of the exports of a rotten day reads all of them again, in their order."""
    mill, exports = store
    before = bit_rot.state(mill)
    ledger = [store_of(mill).sources().rows(), sorted(n for n in before if "pulled" in n)]
    rot(mill, readings_of(mill))
    code, said = bit_rot.quietly(["pull", str(mill.config_path), str(exports[0])])
    assert code == 0
    assert "set aside" in said
    assert "1 days changed" in " ".join(said.split())
    assert bit_rot.state(mill) == before
    assert store_of(mill).pending_days() == (DAY,)
    assert ledger[0] == store_of(mill).sources().rows()


@pytest.mark.slow
def test_a_day_whose_exports_are_gone_is_named_until_they_are_pulled(store, tmp_path):
    mill, exports = store
    before = bit_rot.state(mill)
    corrected, late = (tmp_path / path.stem / path.name for path in exports[1:])
    for path, away in zip(exports[1:], (corrected, late), strict=True):
        away.parent.mkdir()
        path.rename(away)
    rot(mill, readings_of(mill))
    (sign,) = health(mill)
    assert f"readings of {DAY}" in sign["what"]
    assert f"lostpol pull {mill.config_path} late.csv tags_b.parquet" in sign["cure"]
    code, said = bit_rot.quietly(["backfill", str(mill.config_path)])
    assert code == 3
    assert "late.csv tags_b.parquet" in " ".join(said.split())
    # What one export had is there already, and what misses is said at every run.
    assert lake_of(mill).read_readings(DAY, DAY).height > 1000
    assert [wanted.name for wanted in waiting(lake_of(mill).storage)[DAY]] == [
        "tags_b.parquet",
        "late.csv",
    ]
    assert "incomplete" in health(mill)[0]["what"]
    assert bit_rot.quietly(["pull", str(mill.config_path), str(late)])[0] == 0
    assert list(waiting(lake_of(mill).storage)) == [DAY]
    assert bit_rot.quietly(["pull", str(mill.config_path), str(corrected)])[0] == 0
    assert waiting(lake_of(mill).storage) == {}
    assert bit_rot.quietly(["backfill", str(mill.config_path)])[0] == 0
    assert bit_rot.state(mill) == before


def test_a_correction_applied_in_full_counts_again_in_full(store):
    mill, exports = store
    bad = exports[0].with_name("bad.csv")
    good = lake_of(mill).read_readings(DAY, DAY, ["LT.AI212"]).filter(~pl.col("bad"))
    moment = good["ts_utc"][100].strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    bad.write_text(f"time,tag,value,quality\n{moment},LT.AI212,9.9,bad\n")
    assert bit_rot.quietly(["pull", str(mill.config_path), str(bad), "--corrects"])[0] == 0
    assert [full for _, full in open_journal(mill.store_path).imports] == [False] * 3 + [True]
    before = bit_rot.state(mill)
    rot(mill, readings_of(mill))
    assert bit_rot.quietly(["pull", str(mill.config_path), str(exports[0])])[0] == 0
    assert bit_rot.state(mill) == before


def test_a_store_without_its_journal_goes_by_its_notes(store):
    mill, exports = store
    before = bit_rot.state(mill)
    (mill.store_path / "imports.json").write_text("no journal")
    rot(mill, readings_of(mill))
    assert bit_rot.quietly(["pull", str(mill.config_path), str(exports[1])])[0] == 0
    assert bit_rot.state(mill) == before


def test_a_rotten_note_lets_no_old_file_undo_a_correction(store):
    """Its export counts as known, and its day as waiting for what nobody can name."""
    mill, exports = store
    before = bit_rot.state(mill)
    (note,) = (n for n in before if n.startswith(f"pulled/{exports[0].stat().st_size}_"))
    rot(mill, note)
    assert bit_rot.quietly(["pull", str(mill.config_path), str(exports[0])])[0] == 0
    assert bit_rot.state(mill) == before


@pytest.mark.slow
@pytest.mark.parametrize("name", [f"readings/date={DAY}/readings.parquet",
                                  f"features/zones/date={DAY}/zones.parquet"])  # fmt: skip
def test_a_mend_that_was_stopped_is_completed_by_the_next_run(store, monkeypatch, name):
    mill, _ = store
    before = bit_rot.state(mill)
    rot(mill, name)

    class Killed(BaseException):
        pass

    def killed(*_):
        raise Killed

    with monkeypatch.context() as patch, pytest.raises(Killed):
        patch.setattr("pipeline.stages.rot.restore", killed)
        mend(mill)
    assert not Path(mill.lake_path, name).exists()
    kept_whole(mill, lambda _: (stages.derive(mill), stages.detect(mill, "nightly")))
    assert bit_rot.state(mill) == before


@pytest.mark.slow
def test_files_from_before_there_were_hashes_are_no_rot(store):
    mill, _ = store
    before = bit_rot.state(mill)
    for name in before:
        path = Path(mill.lake_path, name)
        path.write_bytes(bare(path.read_bytes()))
    (sign,) = health(mill)
    assert sign["state"] == "fine"
    assert f"{len(before)} files have no hash yet" in sign["what"]
    assert bit_rot.quietly(["backfill", str(mill.config_path)])[0] == 0
    assert bit_rot.state(mill) == before


def bare(content):
    """The same file as it was written before there were hashes, near enough."""
    if content[:1] == b"{":
        return re.sub(rb', "lostpol.seal": "[^"]*"', b"", content)
    out = BytesIO()
    pl.read_parquet(content).write_parquet(out)
    return out.getvalue()


def test_a_day_taken_away_is_brought_back(store):
    mill, _ = store
    before = bit_rot.state(mill)
    Path(mill.lake_path, readings_of(mill)).unlink()
    assert bit_rot.quietly(["backfill", str(mill.config_path)])[0] == 0
    assert bit_rot.state(mill) == before
    assert DAY - timedelta(days=1) in lake_of(mill).days()
