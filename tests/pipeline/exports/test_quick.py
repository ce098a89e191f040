"""The quick way and the thorough way through an export leave the same lake and the same ledger."""

from __future__ import annotations

import dataclasses
import gzip
import importlib.util
import json
import random
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from slow_case import slow

from pipeline.base.errors import LostpolError
from pipeline.exports import quick, sample
from pipeline.exports.export import export_readings
from pipeline.files import parquet_blocks, text_blocks
from pipeline.files.blocks import NotPlainError
from pipeline.lake.columns import GOOD, Columns, Names, to_frame
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.refused import Tally
from pipeline.layouts.layout import Plan
from pipeline.mill.export_layout import ExportLayout, Exports
from pipeline.mill.units import UnitChange
from pipeline.pull import stage
from pipeline.pull.pull import pull_files

START = datetime(2025, 10, 31, 20, 0, tzinfo=UTC)  # two days before clocks go back in Chicago


@dataclasses.dataclass(frozen=True)
class FakeMill:
    lake_path: Path
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    exports: Exports = dataclasses.field(default_factory=Exports)
    unit_changes: dict = dataclasses.field(
        default_factory=lambda: {
            "PH.1": UnitChange(),
            "TI.2": UnitChange(5 / 9, -160 / 9),
            "FI.3": UnitChange(0.001, 0.0),
        }
    )

    @property
    def incoming_path(self):
        return self.lake_path / "incoming"


@pytest.fixture(name="ways")
def _ways(tmp_path, monkeypatch):
    """Pulls files both ways, in small blocks; tells the pieces that went the quick way."""
    monkeypatch.setattr(text_blocks, "TEXT_BYTES", 4096)
    monkeypatch.setattr(parquet_blocks, "PARQUET_ROWS", 100)
    taken = []
    real = quick._Reader._quickly

    def watched(self, block):
        columns = real(self, block)
        taken.append(columns is not None)
        return columns

    monkeypatch.setattr(quick._Reader, "_quickly", watched)

    def pull_both(*files, **mill_options):
        found = []
        for way in ("quick", "thorough"):
            with monkeypatch.context() as patch:
                if way == "thorough":
                    patch.setattr(stage, "quick_pieces", _not_plain)
                mill = FakeMill(tmp_path / f"{way}{len(list(tmp_path.iterdir()))}", **mill_options)
                result = pull_files(mill, list(files))
            found.append((lake_bytes(mill), [told(source) for source in result.sources]))
        return found[0], found[1], taken

    return pull_both


def _not_plain(*_):
    raise NotPlainError
    yield


def told(source):
    """Ledger without its notes, which rest on a sample the quick way."""
    return dataclasses.replace(source, notes=())


def lake_bytes(mill):
    """All of the lake but the notes on files that were pulled."""
    root = mill.lake_path
    found = {p.relative_to(root).as_posix(): p for p in root.rglob("*") if p.is_file()}
    return {name: p.read_bytes() for name, p in found.items() if not name.startswith("pulled/")}


def rows(rng, count, *, odd=0.0):
    """Rows of (time, tag, value, quality) as text, some of them odd."""
    values = ["", "n.d.", "<0.05", "-0", "1e3", "7.5*", "nan", " 7.25 "]
    found = []
    for k in range(count):
        time = START + timedelta(seconds=30 * (k // 3))
        tag = ("PH.1", "TI.2", "FI.3")[k % 3]
        value, quality = f"{7 + rng.random():.3f}", "good"
        if rng.random() < odd:
            tag = rng.choice([tag, tag, "XX.9", "", " PH.1 "])
            value = rng.choice([value, value, *values])
            quality = rng.choice(["good", "Good ", "uncertain", "bad", "", "BadDevice"])
            time += timedelta(seconds=rng.choice([0, 0, -7200, 30]))
        found.append((time, tag, value, quality))
    return found


def text(found, pattern="%Y-%m-%dT%H:%M:%SZ", zone=None):
    lines = ["time,tag,value,quality"]
    for time, *cells in found:
        moment = time if zone is None else time.astimezone(zone)
        lines.append(",".join([moment.strftime(pattern), *cells]))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("odd", [0.0, 0.002, 0.2])
@pytest.mark.parametrize("packed", [False, True])
def test_text_both_ways(tmp_path, ways, odd, packed):
    content = text(rows(random.Random(5), 2000, odd=odd)).encode()
    path = tmp_path / ("a.csv.gz" if packed else "a.csv")
    path.write_bytes(gzip.compress(content) if packed else content)
    quick, thorough, blocks = ways(path)
    assert quick == thorough
    if odd < 0.1:
        assert len(blocks) > 10
        assert sum(blocks) > 0.3 * len(blocks)
    if odd == 0.0:
        assert all(blocks)


def test_a_negative_zero_is_a_zero_both_ways(tmp_path, ways):
    path = tmp_path / "zeros.csv"
    values = ["-0.0", "0.0", "-0", "7.1", "-0.000"]
    found = [(START + timedelta(minutes=k), "PH.1", v, "good") for k, v in enumerate(values)]
    path.write_text(text(found), encoding="utf-8")
    quick, thorough, taken = ways(path)
    assert quick == thorough
    assert all(taken)


@pytest.mark.parametrize("ambiguous", ["first", slow("second"), slow("refuse")])
def test_local_times_over_a_clock_change_both_ways(tmp_path, ways, ambiguous):
    from zoneinfo import ZoneInfo

    found = rows(random.Random(6), 15_000)
    assert found[-1][0] > datetime(2025, 11, 2, 9, tzinfo=UTC)
    path = tmp_path / "a.csv"
    path.write_text(text(found, "%Y-%m-%d %H:%M:%S", ZoneInfo("America/Chicago")))
    quick, thorough, blocks = ways(path, ambiguous=ambiguous)
    assert quick == thorough
    # The hour that comes twice is there twice: the order tells its passes apart, and no rule.
    (ledger,) = quick[1]
    assert (ledger.kept, ledger.conflicts) == (15_000, 0)
    assert ledger.last_utc == found[-1][0]
    # Blocks that wait for the next one are not tried the quick way.
    assert len(blocks) > 100
    assert sum(blocks) > 0.95 * len(blocks)


@pytest.mark.parametrize("again", ["time,tag,value,quality", "time,value,tag,quality", ",,degF,"])
def test_headings_and_units_further_down_both_ways(tmp_path, ways, again):
    upper, lower = (text(rows(random.Random(k), 600)) for k in (6, 7))
    body = lower.split("\n", 1)[1]
    if again.startswith("time,value"):
        cells = [line.split(",") for line in body.split()]
        body = "\n".join(f"{a},{c},{b},{d}" for a, b, c, d in cells) + "\n"
    path = tmp_path / "a.csv"
    path.write_text(f"{upper}{again}\n{body}")
    best = Exports(layout=(ExportLayout(name="both", repeats="best"),))
    quick, thorough, blocks = ways(path, exports=best)
    assert quick == thorough
    (ledger,) = quick[1]
    assert sum(ledger.refused.values()) == 1
    assert ledger.kept + ledger.merged == 1200
    assert any(blocks)


def test_a_clock_that_runs_ahead_is_told_the_quick_way(tmp_path):
    def stamped(k):
        return START + timedelta(seconds=5 * k + (2700 if 4000 <= k < 9000 else 0))

    lines = [
        f"{stamped(k):%Y-%m-%dT%H:%M:%SZ},{tag},{7 + k % 7}\n"
        for k in range(15_000)
        for tag in ("PH.1", "TI.2", "FI.3")
        if tag != "FI.3" or not 10_000 <= k < 12_000
    ]
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n" + "".join(lines))
    pull_blocks_size = text_blocks.TEXT_BYTES
    for size in (pull_blocks_size, 200_000):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(text_blocks, "TEXT_BYTES", size)
            (source,) = pull_files(FakeMill(tmp_path / f"{size}"), [path]).sources
        *ahead, twice = source.notes
        assert [note.split(" after ")[0] for note in ahead] == [
            f"{tag}: the clock runs ahead by about 45 min" for tag in ("FI.3", "PH.1", "TI.2")
        ]
        # While the clock was ahead it stamped moments that came again: nobody knows which holds.
        assert "readings have two good values at one moment" in twice
        assert source.bad == {"two_values": int(twice.split()[0].replace(",", ""))}


def test_a_zone_of_the_layout_both_ways(tmp_path, ways):
    path = tmp_path / "a.csv"
    path.write_text(text(rows(random.Random(6), 600), "%Y-%m-%d %H:%M:%S.%f"))
    layout = ExportLayout(name="mine", time_zone="UTC")
    quick, thorough, blocks = ways(path, exports=Exports(layout=(layout,)))
    assert quick == thorough
    assert all(blocks)


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("kind", [pl.String, pl.Categorical])
def test_parquet_both_ways(tmp_path, ways, unit, kind):
    rng = random.Random(8)
    found = [(t, tag, v, q) for t, tag, v, q in rows(rng, 1500, odd=0.1) if tag]
    values = [rng.choice([None, float("nan"), 5.0]) if rng.random() < 0.01 else 7.5 for _ in found]
    frame = pl.DataFrame(
        {
            "time": pl.Series([r[0] for r in found]).cast(pl.Datetime(unit, "UTC")),
            "tag": pl.Series([r[1] for r in found]).cast(kind),
            "value": values,
            " quality ": [r[3] or None for r in found],
        }
    )
    path = tmp_path / "a.parquet"
    frame.write_parquet(path)
    quick, thorough, blocks = ways(path)
    assert quick == thorough
    assert any(blocks)


def test_several_files_with_repeats_and_corrections_both_ways(tmp_path, ways):
    paths = []
    for seed in range(4):
        found = rows(random.Random(seed), 900)
        random.Random(seed).shuffle(found)
        paths.append(tmp_path / f"{seed}.csv")
        paths[-1].write_text(text(found + found[:50]))
    quick, thorough, blocks = ways(*paths)
    assert quick == thorough
    assert any(blocks)


def test_every_field_of_a_plan_is_thought_of():
    """A new field may mean something that the quick way would pass over: look, then add it."""
    assert {field.name for field in dataclasses.fields(Plan)} == {
        "shape", "time", "date", "tag", "value", "unit", "tags", "time_formats",
        "formats_given", "time_zone", "marks", "no_result_words", "fillers", "harmless_marks",
        "tag_names", "tag_units", "moved", "qualities", "units_given", "half", "zone", "clock",
        "pairs", "one_tag", "tag_columns", "short_is_empty", "needed", "why", "where",
        "zone_given",
    }  # fmt: skip


def columns(times_us, values, tags=None):
    import numpy as np

    tags = tags or [0] * len(times_us)
    return Columns(
        np.array(times_us), np.array(tags, np.int32), np.array(values, float),
        np.full(len(times_us), GOOD, np.int32),
    )  # fmt: skip


def test_what_is_watched_tells_of_clock_jumps_and_still_tags():
    watch = sample.Watch()
    many = columns(range(100_000), [k % 97 for k in range(100_000)])
    seen = watch.worth_watching(many, ["A"], [])
    assert 2000 < seen.height < 4000
    assert seen["ts_utc"].is_sorted()
    assert seen["ts_utc"].to_physical()[-1] == 99_999
    again = columns(range(50_000, 150_000), [1.0, 2.0] * 50_000)
    assert watch.worth_watching(again, ["A"], []).height == 100_000
    still = columns(range(200_000, 290_000), [5.0] * 90_000)
    assert watch.worth_watching(still, ["A"], []).height == 90_000
    moved_once = columns(range(300_000, 390_000), [5.0] * 89_999 + [6.0])
    assert set(watch.worth_watching(moved_once, ["A"], [])["value"]) == {5.0, 6.0}


def test_one_tag_after_the_other_is_no_clock_jump():
    watch = sample.Watch()
    two = columns([*range(50_000)] * 2, [1.0, 2.0] * 50_000, [0] * 50_000 + [1] * 50_000)
    assert watch.worth_watching(two, ["A", "B"], []).height < 4000
    assert watch.worth_watching(columns([40_000], [1.0]), ["A", "B"], []).height == 1


def test_numbers_that_may_be_fillers_are_seen():
    import numpy as np

    from pipeline.exports.evidence import _FILLERS

    for number in (*_FILLERS, 1e31, -1e31):
        assert sample.may_be_filled(np.array([7.0, number, float("nan")]))
    assert not sample.may_be_filled(np.array([7.0, 998.0, 1234.5, -3.0, float("nan")]))


# The corpus, whole and spoiled --------------------------------------------------------------------

HERE = Path(__file__).parent
CORPUS = HERE / "corpus" / "files"


@pytest.fixture(name="fuzz", scope="module")
def _fuzz():
    """The script that spoils exports."""
    path = HERE.parents[1] / "benchmarks" / "fuzz_readers.py"
    spec = importlib.util.spec_from_file_location("fuzz_for_quick", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz_for_quick"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["fuzz_for_quick"]


def quickly(path, layout, mill, pool):
    """Readings and counts by the quick way; None where the export is not for it."""
    tally, words = Tally(), (Names(), Names())
    frames = [READINGS_SCHEMA.to_frame()]
    try:
        for piece, _ in quick.quick_pieces(path, layout, mill, tally, words, pool):
            is_frame = isinstance(piece, pl.DataFrame)
            frames.append(piece if is_frame else to_frame(piece, *(w.words for w in words)))
    except NotPlainError:
        return None
    return seen(pl.concat(frames), tally)


def thoroughly(path, layout, mill):
    tally, frames = Tally(), [READINGS_SCHEMA.to_frame()]
    try:
        frames += export_readings(path, layout, mill, tally)
    except LostpolError as error:
        return error.what
    return seen(pl.concat(frames), tally)


def seen(readings, tally):
    """All that must be the same; the order in a batch may differ."""
    ordered = readings.with_columns(pl.col("value") + 0.0).sort(pl.all())
    counts = {name: n for name, n in tally.refused.items() if n}
    bad = {name: n for name, n in tally.bad.items() if n}
    refused = sorted(dataclasses.astuple(row) for row in tally.refused_rows)
    tags = tally.known_tags, tally.unknown_tags
    return ordered.rows(), tally.rows, counts, bad, tally.unreadable, tags, refused


@pytest.mark.slow
def test_the_corpus_both_ways(fuzz, tmp_path):
    went, mill = 0, fuzz.FuzzMill()
    with ThreadPoolExecutor(1) as pool:
        for path in sorted(CORPUS.iterdir()):
            expectation = CORPUS / f"{path.name}.expected.json"
            if not expectation.exists():
                continue
            given = json.loads(expectation.read_text(encoding="utf-8")).get("layout")
            layout = ExportLayout(name="corpus", shape="long", **given) if given else None
            quick = quickly(path, layout, mill, pool)
            if quick is not None:
                went += 1
                assert quick == thoroughly(path, layout, mill), path.name
    assert went >= 10


@pytest.mark.slow
def test_spoiled_exports_both_ways(fuzz, tmp_path):
    rng, mill, went = random.Random(12), fuzz.FuzzMill(), 0
    clean = tmp_path / "clean.csv"
    lines = text(rows(rng, 300)).replace("PH.1", "LT.AI212").replace("TI.2", "SH.TI221")
    clean.write_text(lines)
    base = [clean.read_bytes()] * 3 + [p.read_bytes() for p in sorted(CORPUS.glob("*.csv"))[:20]]
    path = tmp_path / "spoiled.csv"
    with ThreadPoolExecutor(1) as pool:
        for number in range(250):
            data = fuzz.spoil(rng.choice(base), rng, base)
            path.write_bytes(data)
            quick = quickly(path, None, mill, pool)
            if quick is not None:
                went += 1
                assert quick == thoroughly(path, None, mill), number
    assert went >= 60
