"""How often the search takes a plant's own quiet hours for a loss, beside what was asked.

    python tests/benchmarks/quiet_hours.py --record PATH   # a plant record before its first label
    python tests/benchmarks/quiet_hours.py --record PATH --whole     # all hours far from a label
    python tests/benchmarks/quiet_hours.py --mills         # simulated mills without events
    python tests/benchmarks/quiet_hours.py --mills 60 340 --told 0.5

A record (see ``tests/water_plant/water_plant.toml``): each tag is one channel, and its negative
another; what stands out to the side that no plant would mind is chance as much as the other. Of a
mill without events (seeds under 300: the demonstration's; else one with manners and habits) every
channel that a search of it looks at is searched alone. What is accepted is counted before anything
asks whether it is worth a line. ``--told`` lists it, with what truly was lost then.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from real_plant import CONFIG, TRAIN_ROWS, gridded, labelled_minutes

import models.find.find as whole_search
from models.base import Array, Minutes
from models.detect import Candidate, Channel
from models.detect.channels import STANDING
from models.judge import (
    NULL_LEGEND,
    NullLine,
    Searched,
    null_head,
    null_text,
    search_series,
    stretches,
)
from models.simulator import PlantParameters, draw_hard_mill, simulate_season
from pipeline.lake import lake_of
from pipeline.mill import load_mill
from pipeline.proof.one_mill import Plan
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import described
from pipeline.stages import derive, detect, pull

RATES = (0.05, 0.2, 0.5)
WEEKS = 8
#: Seeds from here on are of mills with manners and habits.
FIRST_HARD = 300
#: The demonstration's mill, and hard ones, that may be looked at.
MILLS = (60, 61, 62, 340, 341, 342, 343)
DAY_MIN = 1_440
#: So far from a label nothing of its event is left (judgement).
FAR_MIN = 240


@dataclass(frozen=True)
class Quiet:
    """A channel of a plant in which nothing happened."""

    where: str
    kind: str
    kg_h: Array
    usual: float | None
    #: By the minute, what truly was lost [kg/h]; None where nobody knows.
    truth: Array | None = None


def record_channels(path: Path, *, whole: bool = False) -> Iterator[Quiet]:
    """Each tag of the record and its negative: before the first label, or far from all of them."""
    with tempfile.TemporaryDirectory() as store:
        mill = load_mill(CONFIG).with_store(Path(store))
        record = gridded(mill, path)
        label = labelled_minutes(path, mill.zone, record.raw["ts_utc"])
    rows = len(label) if whole else TRAIN_ROWS
    near = np.convolve(label[:rows], np.ones(2 * FAR_MIN + 1), "same") > 0.5
    assert whole or not near.any()
    for name in record.screened.columns[1:]:
        told_of = record.screened[name].head(rows).cast(pl.Float64).fill_null(np.nan).to_numpy()
        values = np.where(near, np.nan, told_of)
        for sign, mark in ((1.0, "+"), (-1.0, "-")):
            yield Quiet("record", f"{name} {mark}", sign * values, None)


def mill_channels(seed: int, folder: Path) -> Iterator[Quiet]:
    """Each channel of a simulated mill without events, as its search looks at it."""
    folder.mkdir(parents=True)
    if seed < FIRST_HARD:
        season = simulate_season(seed, WEEKS, parameters=PlantParameters(), with_events=False)
        mill = load_mill(Plan(()).template).with_store(folder / "store")
    else:
        hard = draw_hard_mill(seed)
        season = simulate_season(
            seed, WEEKS, parameters=hard.plant, habits=hard.habits, with_events=False
        )
        series = season.lab["point_analyte"].unique().to_list()
        mill = described(Plan(()).template, hard, seed, series, folder)
    files = [p for p in write_sample(folder, season) if p.stem not in HIDDEN]
    pull(mill, files)
    derive(mill, None)
    seen: list[tuple[Minutes, list[Channel]]] = []
    asked = whole_search.find_candidates

    def watched(minutes, channels, *rest):
        seen.append((minutes, channels))
        return asked(minutes, channels, *rest)

    whole_search.find_candidates = watched
    try:
        detect(mill, "backfill", lake_of(mill).days()[0])
    finally:
        whole_search.find_candidates = asked
    for minutes, channels in seen:
        for one in channels:
            # Stops are read off the feed: chance has no share in them.
            if one.name != STANDING:
                lost = truly_lost(season.planted, minutes, one.zones)
                kind = f"{one.name} {one.section}"
                yield Quiet(f"mill {seed}", kind, one.kg_h, one.usual_kg_h, lost)


def truly_lost(planted: pl.DataFrame, minutes: Minutes, zones: Sequence[str]) -> Array:
    """Sucrose that truly was destroyed in some zones, by the minute of a search [kg/h]."""
    at = planted["ts_utc"].dt.epoch("s").to_numpy()
    columns = [f"destroyed_{zone}_kg_h" for zone in zones]
    lost = planted.select(pl.sum_horizontal(columns)).to_series().to_numpy()
    wanted = minutes.start_utc.timestamp() + 60.0 * np.arange(minutes.n)
    return np.interp(wanted, at, lost)


def told(one: Quiet, item: Candidate) -> str:
    """What was accepted, and what truly was lost then over the fortnight around."""
    span = item.span
    line = (
        f"  {one.where} {one.kind:<34} day {span.start / DAY_MIN:6.2f}, "
        f"{(span.end - span.start) / 60.0:6.1f} h, z {span.z:4.1f}, {span.per_week:7.4f} a week"
    )
    if one.truth is None:
        return line
    around = one.truth[max(span.start - 7 * DAY_MIN, 0) : span.end + 7 * DAY_MIN]
    more = float(one.truth[span.start : span.end].mean() / np.median(around) - 1.0)
    usual = float(np.median(around))
    hours = (span.end - span.start) / 60.0
    return (
        f"{line}; found {span.kg / hours:6.2f} kg/h, truly "
        f"{more * usual:6.2f} kg/h ({100.0 * more:+.0f} %) over the usual {usual:.1f}"
    )


def table(found: Sequence[tuple[Quiet, list[Searched]]], rates: Sequence[float]) -> None:
    """What each channel made of each rate, then the lines by mill and of all together."""
    print(f"\n{'channel':<52}accepted at {', '.join(f'{r:g}' for r in rates)} a week")
    parts: dict[str, list[list[Searched]]] = defaultdict(list)
    for one, searched in found:
        parts[one.where].append(searched)
        parts["all"].append(searched)
        unsure = "" if searched[0].sure else "   cannot be calibrated"
        counts = "".join(f"{at.count:>5}" for at in searched)
        print(f"{f'{one.where} {one.kind}':<52}{counts}{unsure}")
    print(f"\n{null_head()}")
    together = parts.pop("all")
    for name, several in [*(parts.items() if len(parts) > 1 else []), ("all", together)]:
        for at, asked in enumerate(rates):
            print(null_text(NullLine(name, name, asked, tuple(one[at] for one in several))))
    print(NULL_LEGEND)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--record", type=Path, help="the record, or its folder")
    what.add_argument("--mills", type=int, nargs="*", help="seeds; none: those of the proof")
    parser.add_argument("--whole", action="store_true", help="all of the record, far from labels")
    parser.add_argument("--rate", action="append", type=float, help="asked a week; may be repeated")
    parser.add_argument("--told", type=float, help="also list what is accepted at this rate")
    args = parser.parse_args()
    rates = args.rate or list(RATES)
    found = []
    with tempfile.TemporaryDirectory() as name:
        for one in channels_of(args, Path(name)):
            found.append((one, search_series(one.kg_h, rates, one.usual)))
            if args.told:
                for item in stretches(one.kg_h, args.told, one.usual):
                    print(told(one, item), flush=True)
    table(found, rates)
    return 0


def channels_of(args: argparse.Namespace, folder: Path) -> Iterator[Quiet]:
    """Channels of a record, or of mills."""
    record: Path | None = args.record
    if record is None:
        for seed in args.mills or MILLS:
            yield from mill_channels(seed, folder / str(seed))
        return
    inside = sorted(record.glob("*.csv.gz")) if record.is_dir() else [record]
    if not inside or not inside[0].is_file():
        raise SystemExit(f"No plant record at {record}: name the file with --record.")
    yield from record_channels(inside[0], whole=args.whole)


if __name__ == "__main__":
    raise SystemExit(main())
