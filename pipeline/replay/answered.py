"""A recorded period run through the station again, from what lies in the lake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import polars as pl

from features.replay import (
    Change,
    Recorded,
    Rerun,
    parse_change,
    recorded,
    rerun,
    station_column,
    zone_rows,
)
from models.replay import Saving, beyond_formulas, course_of, outside, saving_of
from pipeline.base import ONE_DAY, ConfigError, DataError, Window
from pipeline.lake import DRIVEN, GRID, Lake, lake_of
from pipeline.mill import Mill
from pipeline.period import Reckoned, reckon
from pipeline.replay.prices import prices_of
from pipeline.replay.season import SeasonRan, biases_between
from pipeline.replay.warned import warnings_of
from pipeline.words import clean, figure, joined, said, span_words, stored

#: Days before a period whose juice may still be in the station, as a night takes them, and hours
#: behind it in which changed juice leaves.
WARM_UP: Final = 2 * ONE_DAY
BEHIND: Final = timedelta(hours=12)
#: Longest period that is run again at once; the levers go through a season in pieces of a week.
LONGEST: Final = timedelta(days=62)
_CURE: Final = said(
    "Change less, or something that the mill has run; lostpol levers shows what that is."
)


@dataclass(frozen=True)
class Replay:
    """Answer of a replay.

    Attributes
    ----------
    mill : Mill
    window : Window
    changes : tuple of Change
    reckoned : Reckoned
        Account of the record.
    saving : Saving
    warnings : tuple of str
    """

    mill: Mill
    window: Window
    changes: tuple[Change, ...]
    reckoned: Reckoned
    saving: Saving
    warnings: tuple[str, ...]

    @property
    def value(self) -> float:
        """Worth of what is saved [currency]."""
        return self.saving.saved.mid * self.mill.price_per_t

    @property
    def net_value(self) -> float:
        """The same less the costs that have a price [currency]."""
        return self.value - sum(cost.value or 0.0 for cost in self.saving.costs)


def replay(mill: Mill, window: Window, wanted: Sequence[str]) -> Replay:
    """Run a period again with something changed.

    Parameters
    ----------
    mill : Mill
    window : Window
    wanted : sequence of str
        Changes, each ``KEY=VALUE`` (`features.replay.parse_change`).

    Returns
    -------
    Replay

    Raises
    ------
    ConfigError
        A change cannot be read, has nothing to act on, or lies outside what the mill has run or
        the formulas cover.
    DataError
        Nothing of the period was worked out and searched.
    """
    changes = tuple(_read(text, mill) for text in wanted)
    _require_short(mill, window)
    reckoned = reckon(mill, window)
    record = record_of(mill, window)
    run = _run(record, changes)
    refuse_outside(SeasonRan(mill), run, changes)
    saving = _saving(mill, window, run, changes, reckoned)
    return Replay(mill, window, changes, reckoned, saving, warnings_of(changes, saving, reckoned))


def _require_short(mill: Mill, window: Window) -> None:
    if window.end - window.start > LONGEST:
        raise ConfigError(
            said("The period is too long to be run again."),
            span_words(window.start, window.end, mill.tz),
            said(
                "Give one of at most {days} days; lostpol levers goes through the season.",
                days=figure(LONGEST / ONE_DAY, ".0f"),
            ),
        )


def _read(text: str, mill: Mill) -> Change:
    try:
        return parse_change(text, mill.station)
    except ValueError as error:
        raise ConfigError(
            said("This change cannot be read."),
            said("--set {change}: {why}", change=repr(clean(text, 80)), why=stored(str(error))),
            said("Say --set KEY=VALUE: with a sign it is relative, without one absolute."),
        ) from error


def record_of(mill: Mill, window: Window) -> Recorded:
    """Record of a period, two days before it and some hours behind it.

    Raises
    ------
    DataError
        The lake holds no minutes there.
    """
    lake = lake_of(mill)
    grid = _grid(lake, Window(window.start - WARM_UP, window.end + BEHIND))
    if grid.is_empty():
        where = said(
            "{span_words}, plant time", span_words=span_words(window.start, window.end, mill.tz)
        )
        raise DataError(
            said("No minutes of this period lie in the lake."),
            where,
            said("Run lostpol backfill first."),
        )
    times = grid["ts_utc"]
    inside = times.is_between(window.start, window.end, closed="left").to_numpy()
    return recorded(grid, mill.station, inside, biases_between(lake, times))


def _grid(lake: Lake, wide: Window) -> pl.DataFrame:
    """One row a minute, without holes, as far as the lake reaches."""
    grid = lake.read_features(GRID, *wide.days)
    if grid.is_empty():
        return grid
    inside = pl.col("ts_utc").is_between(wide.start, wide.end, closed="left")
    grid = grid.filter(inside).sort("ts_utc")
    return grid.upsample("ts_utc", every="1m") if grid.height else grid


def _run(record: Recorded, changes: Sequence[Change]) -> Rerun:
    try:
        return rerun(record, changes)
    except ValueError as error:
        keys = joined(", ", (change.key for change in changes))
        raise ConfigError(
            said("This change cannot be replayed."),
            said("{keys}: {why}", keys=keys, why=stored(str(error))),
            _CURE,
        ) from error


def refuse_outside(season: SeasonRan, run: Rerun, changes: Sequence[Change]) -> None:
    """Refuse what the mill has never run, and what the formulas do not cover.

    Raises
    ------
    ConfigError
    """
    acting = [change for change in changes if not change.nothing]
    inside = run.inside[run.source]
    running = inside & ~(station_column(run.replayed, "stopped") > 0.5)
    faults = []
    for change in acting:
        try:
            course = course_of(run.replayed, run.station, change)
        except ValueError as error:
            faults.append(stored(str(error)))
            continue
        if course is not None:
            faults.append(stored(outside(change, course[running], season.of(change))))
    if acting:
        was, now = zone_rows(run.recorded, run.inside), zone_rows(run.replayed, inside)
        faults.append(stored(beyond_formulas(was, now)))
    if found := [fault for fault in faults if fault]:
        raise ConfigError(
            said("This lies outside what can be answered for."),
            joined("\n", (stored(fault) for fault in found)),
            _CURE,
        )


def _saving(
    mill: Mill, window: Window, run: Rerun, changes: Sequence[Change], reckoned: Reckoned
) -> Saving:
    driven = driven_of(mill, window)
    account = reckoned.account
    eaten = sum(f.here.mid for f in account.findings if f.cause == "microbial")
    return saving_of(run, driven, changes, prices_of(mill), _temperatures(run), eaten)


def driven_of(mill: Mill, window: Window, *, later: bool = True) -> pl.DataFrame:
    """Loss by vessel of a period, and of the hours behind it; vessels the description names alone.

    Parameters
    ----------
    mill : Mill
    window : Window
    later : bool
        False leaves the hours behind it out.
    """
    wide = Window(window.start, window.end + BEHIND) if later else window
    frame = lake_of(mill).read_features(DRIVEN, *wide.days)
    known = {v.name for v in mill.station.vessels}
    inside = pl.col("ts_utc").is_between(wide.start, wide.end, closed="left")
    named = pl.col("zone").str.split(":").list.first().is_in(list(known))
    return frame.filter(inside & named)


def _temperatures(run: Rerun) -> dict[str, float]:
    rows = zone_rows(run.recorded, run.inside)
    means = rows.group_by("zone").agg(pl.col("temp_degc").mean()).drop_nulls()
    return {str(zone): float(degc) for zone, degc in means.rows()}
