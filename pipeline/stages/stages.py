"""The stages of a run: read, call the pure part, write.

No stage keeps anything in memory for the next one; what they share lies in the lake and in the
findings store.

A derived day depends on the grids of that day, of the `WARM_UP_DAYS` before it and of the day
after it; a grid depends on the readings of its day and its two neighbours; and on nothing else.
So a day is the same whether a nightly run or a backfill worked it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

import polars as pl

from features.base import by_tag, lab_results, purity_pct
from features.flow import derive as derive_minutes
from features.signal import quality_counts, screen, sensor_day, to_grid
from models.base import Settings
from models.find import Losses, find_losses
from pipeline.base import (
    ONE_DAY,
    ConfigError,
    LostpolError,
    Progress,
    Spread,
    Window,
    midnight,
    now,
    one_by_one,
    silent,
)
from pipeline.lake import (
    FOUND,
    GRID,
    HEALTH,
    SEARCHED,
    SENSOR_DAYS,
    SENSORS,
    STATION,
    ZONES,
    Lake,
    lake_of,
)
from pipeline.mill import Mill
from pipeline.pull import PullResult, SourceLedger, open_journal, pull_files, unfinished
from pipeline.stages.identity import describe_run
from pipeline.stages.rot import Mended, answered, lines_of, mend_days_of
from pipeline.stages.search_plan import SearchPlan, plan_search
from pipeline.stages.search_results import forget, keep, season_rows
from pipeline.stages.search_windows import SearchWindow
from pipeline.store import RunResult, Store, store_of

#: Days before a day whose readings may still be in the juice that leaves on that day: a weekend
#: stop and the hours the station takes.
WARM_UP_DAYS: Final = 2
#: How far past midnight the grid is read, to bridge gaps that span it.
BEYOND: Final = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Judged:
    """What a run judged and how much it found."""

    run_id: str
    window: Window
    findings: int


def pull(
    mill: Mill,
    files: Sequence[Path],
    progress: Progress = silent,
    *,
    in_full: bool = False,
    again: bool = False,
) -> PullResult:
    """Read export files into the lake and note the days that must be worked out again.

    Parameters
    ----------
    files : sequence of Path
        Exports; with none, only a pull that was stopped is completed.
    in_full, again : bool
        As ``pipeline.pull.pull_files`` takes them.

    Raises
    ------
    DataError
        A file cannot be read, or too much of it was refused; then nothing is stored.
    """
    store, journal = store_of(mill), open_journal(mill.store_path)
    # A pull that was stopped is told of first; how it was asked for is in the journal.
    asked = [journal.in_full, in_full] if unfinished(mill.incoming_path) else [in_full]
    back: list[Mended] = []
    if files and not again:
        journal.begin(files, in_full=in_full)
        back = mend_days_of(mill, files)

    def record(result: PullResult) -> None:
        rows = [_source_row(source) for source in result.sources]
        in_order = asked.pop(0) if len(asked) > 1 else asked[0]
        journal.add([source.sha256 for source in result.sources], in_full=in_order)
        store.record_pull(rows, list(result.days_changed))

    result = pull_files(mill, files, progress, in_full=in_full, again=again, record=record)
    answered(mill, result)
    days = {mended.day for mended in back if mended.day is not None}
    changed = tuple(sorted({*result.days_changed, *days}))
    return replace(result, days_changed=changed, mended=tuple(lines_of(back)))


def _source_row(source: SourceLedger) -> dict[str, Any]:
    """Record of one export file, as the store keeps it."""
    return {
        "sha256": source.sha256,
        "name": source.name,
        "bytes": source.size_bytes,
        "layout": source.layout,
        "rows_read": source.rows_read,
        "rows_kept": source.kept,
        "rows_merged": source.merged,
        "rows_refused": sum(source.refused.values()),
        "rows_conflicting": source.conflicts,
        "refused_by_reason": dict(source.refused),
        "bad_by_reason": dict(source.bad),
        "unknown_tags": list(source.tags_not_in_mill),
        "first_ts": source.first_utc,
        "last_ts": source.last_utc,
    }


def derive(
    mill: Mill,
    days: Iterable[date] | None = None,
    progress: Progress = silent,
    spread: Spread = one_by_one,
) -> int:
    """Work out the minutes of some days, and of the days they reach into.

    Parameters
    ----------
    days : iterable of date, optional
        UTC days to work out besides those whose readings changed, or all when the description
        did.
    spread : callable
        Carries out the days, here or on a cluster.

    Returns
    -------
    int
        Days worked out.

    Raises
    ------
    ConfigError
        The description names no vessels, so there is nothing to work out.
    """
    if not mill.station.vessels:
        raise ConfigError(
            "The description names no vessels, so no loss can be worked out.",
            str(mill.config_path),
            "Add the vessels of the station as [[train]] sections, in flow order.",
        )
    if unfinished(mill.incoming_path):
        pull(mill, [])
    lake, store = lake_of(mill), store_of(mill)
    span = set(_span(lake))
    waiting = set(store.pending_days())
    asked = span & (set(days or ()) | _changed_days(mill, store, waiting, span))
    grids, minutes = _reach(asked, span, set(lake.feature_days(GRID)))
    forget(lake, [*grids, *minutes])  # first: a run stopped halfway must not trust them
    total = len(grids) + len(minutes)
    words = ("Putting readings on a one-minute grid", "Following the juice through the station")
    spread(
        grid_day,
        [(mill, lake, day) for day in grids],
        lambda done: progress(words[0], done, total),
    )
    spread(
        derive_day,
        [(mill, lake, day) for day in minutes],
        lambda done: progress(words[1], len(grids) + done, total),
    )
    if asked & waiting:
        store.clear_pending(sorted(asked & waiting))
    return len(minutes)


def _changed_days(mill: Mill, store: Store, waiting: set[date], span: set[date]) -> set[date]:
    """Days to work out again: all when the description is not what the last run used."""
    if not store.path.exists():
        return span
    runs = store.runs().filter(pl.col("state") == "finished").sort("finished_at")
    if runs.is_empty() or runs["config_hash"][-1] == mill.config_hash:
        return waiting
    return span


def _reach(asked: set[date], span: set[date], gridded: set[date]) -> tuple[list[date], list[date]]:
    """Days to grid and days to derive when the readings of `asked` changed."""
    changed = {day + n * ONE_DAY for day in asked for n in (-1, 0, 1)} & span
    reach = range(-1, WARM_UP_DAYS + 1)
    minutes = {day + n * ONE_DAY for day in changed for n in reach} & span
    needed = {day - n * ONE_DAY for day in minutes for n in reach} & span
    return sorted(changed | (needed - gridded)), sorted(minutes)


def _span(lake: Lake) -> list[date]:
    """Every UTC day from the first to the last with readings; days without any stay in it."""
    days = lake.days()
    if not days:
        return []
    return [days[0] + n * ONE_DAY for n in range((days[-1] - days[0]).days + 1)]


def grid_day(mill: Mill, lake: Lake, day: date) -> None:
    """Screen and grid one UTC day; its neighbours carry values over midnight."""
    signals = mill.station.signals
    known = [*(s.tag for s in signals), *(s.tag for s in mill.station.lab)]
    sound = screen(
        lake.read_readings(day - ONE_DAY, day + ONE_DAY, known, keep=True),
        signals,
        mill.station.lab,
    )
    start, end = midnight(day), midnight(day, 1)
    parts = by_tag(sound)
    grid = to_grid(parts, signals, start, end)
    purity = purity_pct(grid["ts_utc"], lab_results(parts, mill.station), "mixed_juice")
    # Loss must stay known where the laboratory is silent, so the target stands in.
    purity = purity.fill_null(mill.station.targets.purity_pct)
    lake.write_features(GRID, day, grid.with_columns(purity_mixed_juice_pct=purity))
    of_day = sound.filter(pl.col("ts_utc").is_between(start, end, closed="left"))
    lake.write_features(HEALTH, day, quality_counts(of_day))
    lake.write_features(SENSORS, day, sensor_day(parts, signals, start, end))


def derive_day(mill: Mill, lake: Lake, day: date) -> None:
    """Work out one UTC day, warmed up on the days before; the day after ends gaps at midnight."""
    grid = lake.read_features(GRID, day - WARM_UP_DAYS * ONE_DAY, day + ONE_DAY)
    derived = derive_minutes(
        grid.filter(pl.col("ts_utc") < midnight(day, 1) + BEYOND), mill.station
    )
    of_day = pl.col("ts_utc").is_between(midnight(day), midnight(day, 1), closed="left")
    lake.write_features(STATION, day, derived.station_minutes.filter(of_day))
    lake.write_features(ZONES, day, derived.zone_minutes.filter(of_day))


def detect(
    mill: Mill,
    flow: str,
    first: date | None = None,
    progress: Progress = silent,
    spread: Spread = one_by_one,
) -> Judged:
    """Search for losses, publish what was found and keep what the report draws.

    The season is judged whole, to the end of the days worked out; only those of its search
    windows that see a changed day are searched again (``pipeline.stages.search_windows``).

    Parameters
    ----------
    flow : str
        What asked for it: nightly, weekly or backfill.
    first : date, optional
        Local day from which on everything is searched anew, changed or not.
    spread : callable
        Carries out the search windows, here or on a cluster.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    ConfigError
        The first day lies after the end of data.
    """
    lake, store = lake_of(mill), store_of(mill)
    job = plan_search(mill, lake, first)
    run = describe_run(mill, flow, job.window, job.inputs)
    store.record_run(run | {"state": "running"})
    try:
        pieces = [(mill, search_window, job.stamp, inputs) for search_window, inputs in job.anew]
        spread(
            search_one,
            pieces,
            lambda done: progress("Looking for losses", done, len(pieces) + 1),
        )
        judged = publish(mill, job, run)
    except BaseException:
        with suppress(LostpolError):  # what stopped the run tells more
            store.record_run(run | {"state": "failed", "finished_at": now()})
        raise
    progress("Looking for losses", 1, 1)
    return judged


def search_one(mill: Mill, search_window: SearchWindow, stamp: str, inputs: str) -> None:
    """Search one search window and keep in the lake what it says; touches no database."""
    lake = lake_of(mill)
    keep(mill, lake, search_window, search(mill, lake, search_window.sees), stamp, inputs)


def publish(mill: Mill, job: SearchPlan, run: dict[str, Any]) -> Judged:
    """Join what all search windows say, and publish it as one run."""
    lake = lake_of(mill)
    parts = [(s, lake.read_features(FOUND, s.day, s.day)) for s in job.search_windows]
    found = [finding_row(mill, row) for row in season_rows(parts)]
    facts = pl.concat([lake.read_features(SEARCHED, s.day, s.day) for s in job.search_windows])
    # Of all search windows: one searched by a run that was stopped then is told of only now.
    sensors = [lake.read_features(SENSOR_DAYS, s.day, s.day) for s in job.search_windows]
    sensors = [frame for frame in sensors if not frame.is_empty()]
    done = run | _outcome(facts, len(found)) | {"state": "finished", "finished_at": now()}
    cells = round(facts["cells"].sum())
    health = pl.concat(sensors) if sensors else None
    store_of(mill).publish_run(RunResult(done, _mill_row(mill), found, health, cells))
    return Judged(run["run_id"], job.window, len(found))


def _mill_row(mill: Mill) -> dict[str, Any]:
    """What the views need to know of the mill."""
    price = {"currency": mill.currency, "price_per_t": mill.price_per_t}
    return {"name": mill.name, "zone": mill.zone} | price


def search(mill: Mill, lake: Lake, window: Window) -> Losses:
    """Read the derived minutes of a window and search them."""
    first, last = window.days
    inside = pl.col("ts_utc").is_between(window.start, window.end, closed="left")
    lab = mill.station.lab
    readings = screen(lake.read_readings(first, last, [series.tag for series in lab]), (), lab)
    settings = Settings(mill.false_findings_per_week, mill.detection.smallest_finding_t)
    return find_losses(
        lake.read_features(STATION, first, last).filter(inside),
        lake.read_features(ZONES, first, last).filter(inside),
        lab_results(readings, mill.station).filter(inside),
        mill.station,
        settings,
        zone=mill.zone,
    )


def finding_row(mill: Mill, row: dict[str, Any]) -> dict[str, Any]:
    """One finding as the store keeps it: with its worth and whether it goes on."""
    status = "open" if row.pop("open") else "ended"
    worth = {"value": row["lost_t"] * mill.price_per_t, "currency": mill.currency}
    return row | worth | {"status": status}


def _outcome(facts: pl.DataFrame, findings: int) -> dict[str, Any]:
    """What the row of a run tells of its search; the multiplier is of the last search window."""
    last = facts.row(-1, named=True)
    fitted = ("multiplier", "multiplier_low", "multiplier_high", "multiplier_pairs")
    counts = {"minutes": int(facts["minutes"].sum()), "findings": findings}
    return counts | {name: last[name] for name in fitted}
