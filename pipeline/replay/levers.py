"""Levers of a season: worked out week by week, kept in the lake, summed from what lies there."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

import polars as pl

from features.base import polars_schema
from features.replay import Change, rerun
from models.account import Surroundings
from models.replay import (
    PH_STEPS,
    PIECE_COLUMNS,
    PhRange,
    Step,
    best_first,
    ph_range,
    piece_rows,
    realistic_steps,
    saving_of,
    step_of_season,
)
from pipeline.base import DataError, Progress, Window, midnight, silent
from pipeline.lake import DRIVEN, GRID, LEVERS, Lake, lake_of
from pipeline.mill import Mill
from pipeline.replay.answered import WARM_UP, driven_of, record_of
from pipeline.replay.prices import prices_of
from pipeline.replay.season import SeasonRan

#: Any change of how a step is worked out makes what is kept worked out anew.
_EDITION: Final = "1"
_DIGITS: Final = 9
_STEP_KEYS: Final = ("what", "how", "amount", "place")


@dataclass(frozen=True)
class Levers:
    """Levers of a season so far.

    Attributes
    ----------
    mill : Mill
    window : Window
        Weeks that they were worked out for.
    steps : tuple of Step
        Best first; of the steps of pH only the best that juice settles well at.
    ph : PhRange or None
        None where the limed pH is not known.
    missing_weeks : int
        Weeks of the season that are not worked out.
    """

    mill: Mill
    window: Window
    steps: tuple[Step, ...]
    ph: PhRange | None
    missing_weeks: int


@dataclass(frozen=True)
class _Week:
    """A week of the season, from Monday UTC, as far as it was searched."""

    day: date
    window: Window


def work_out_levers(mill: Mill, progress: Progress = silent) -> int:
    """Work out the weeks of the season whose minutes or description changed.

    Writes to the lake: for the one run that holds the store.

    Returns
    -------
    int
        Weeks worked out.
    """
    lake = lake_of(mill)
    season = SeasonRan(mill)
    steps = realistic_steps(mill.station, season.of)
    stale = [
        (week, stamp)
        for week in _weeks(lake)
        if _kept(lake, week, stamp := _stamp(mill, lake, week, steps)) is None
    ]
    for number, (week, stamp) in enumerate(stale):
        progress("Working out the levers of the season", number, len(stale))
        rows = _rows_of(mill, week, steps, stamp)
        frame = pl.DataFrame(rows, schema=polars_schema(PIECE_COLUMNS))
        lake.write_features(LEVERS, week.day, frame)
    return len(stale)


def levers_of(mill: Mill) -> Levers | None:
    """Levers as far as they are kept in the lake; None where nothing is.

    Nothing is worked out here, so a report and a notebook may ask while a night runs.
    """
    lake = lake_of(mill)
    season = SeasonRan(mill)
    steps = realistic_steps(mill.station, season.of)
    weeks = _weeks(lake)
    known = [
        (week, rows)
        for week in weeks
        if (rows := _kept(lake, week, _stamp(mill, lake, week, steps))) is not None
    ]
    if not known:
        return None
    driven = [driven_of(mill, week.window, later=False) for week, _ in known]
    lost = [_lost_kg(frame) for frame in driven]
    around = _around(pl.concat(driven), lost)
    prices = prices_of(mill)
    found = [
        step_of_season(
            step,
            [(_of_step(rows, step), kg) for (_, rows), kg in zip(known, lost, strict=True)],
            around,
            mill.station,
            prices,
        )
        for step in steps
    ]
    ran = season.of(Change("ph_limed", "by", PH_STEPS[0]))
    limed = [step for step in found if step.change.what == "ph_limed"]
    middle = None if ran is None else 0.5 * (ran.usual_low + ran.usual_high)
    ph = None if middle is None or not limed else ph_range(limed, middle, prices)
    others = [step for step in found if step.change.what != "ph_limed"]
    if ph is not None and ph.best is not None:
        others.append(ph.best)
    span = _minutes_span(driven[0], driven[-1]) or Window(
        known[0][0].window.start, known[-1][0].window.end
    )
    return Levers(mill, span, tuple(best_first(others)), ph, len(weeks) - len(known))


def _minutes_span(first: pl.DataFrame, last: pl.DataFrame) -> Window | None:
    """From the first minute worked out to the end of the last one."""
    begin, end = first["ts_utc"].min(), last["ts_utc"].max()
    if not isinstance(begin, datetime) or not isinstance(end, datetime):
        return None
    return Window(begin, end + timedelta(minutes=1))


def _weeks(lake: Lake) -> list[_Week]:
    """Weeks with searched days; of the last one what there is."""
    weeks: dict[date, list[date]] = {}
    for day in lake.feature_days(DRIVEN):
        weeks.setdefault(day - timedelta(days=day.weekday()), []).append(day)
    return [
        _Week(found[0], Window(midnight(found[0]), midnight(found[-1], 1)))
        for found in weeks.values()
    ]


def _kept(lake: Lake, week: _Week, stamp: str) -> pl.DataFrame | None:
    """What is kept of a week, if it rests on these minutes."""
    frame = lake.read_features(LEVERS, week.day, week.day)
    if frame.is_empty() or frame["stamp"][0] != stamp:
        return None
    return frame


def _stamp(mill: Mill, lake: Lake, week: _Week, steps: Sequence[Change]) -> str:
    """Hash of minutes, description and steps."""
    first, last = week.window.days
    grid = lake.read_features(GRID, first - WARM_UP, last)
    numbers = grid.select(pl.col(pl.Float64).sum()).row(0) if grid.height else ()
    words = [
        _EDITION, mill.config_hash, str(grid.height), str(week.window.end),
        *(f"{value:.{_DIGITS}e}" for value in numbers), *(repr(step) for step in steps),
    ]  # fmt: skip
    return hashlib.sha256("\x1f".join(words).encode()).hexdigest()[:16]


def _rows_of(
    mill: Mill, week: _Week, steps: Sequence[Change], stamp: str
) -> list[dict[str, object]]:
    """Rows of every step in one week; a step that cannot be run there has none."""
    driven, prices = driven_of(mill, week.window, later=False), prices_of(mill)
    try:
        record = record_of(mill, week.window)
    except DataError:
        return []
    rows: list[dict[str, object]] = []
    for step in steps:
        try:
            run = rerun(record, [step])
        except ValueError:
            continue
        rows += piece_rows(step, saving_of(run, driven, [step], prices), stamp)
    return rows


def _of_step(rows: pl.DataFrame, step: Change) -> list[dict[str, Any]]:
    wanted = [pl.col(key) == getattr(step, key) for key in _STEP_KEYS]
    return rows.filter(*wanted).to_dicts()


def _lost_kg(driven: pl.DataFrame) -> dict[str, float]:
    sums = driven.group_by("zone").agg(pl.col("lost_kg_h").cast(pl.Float64).sum() / 60.0)
    return {str(zone): float(kg) for zone, kg in sums.rows()}


def _around(driven: pl.DataFrame, lost: Sequence[dict[str, float]]) -> Surroundings:
    zones = {zone for kg in lost for zone in kg}
    total = {zone: sum(kg.get(zone, 0.0) for kg in lost) for zone in zones}
    means = driven.select(pl.col("ph_sd", "level_log_sd").cast(pl.Float64).mean()).row(0)
    ph_sd, level = (float(value) if value is not None else 0.0 for value in means)
    return Surroundings(total, {}, ph_sd, level)
