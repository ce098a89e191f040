"""The stages of a run: read, call the pure part, write.

No stage keeps anything in memory for the next one; what they share lies in the lake and in the
findings store.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from features.base import lab_results
from features.signal import screen
from models.base import Settings
from models.find import Losses, find_losses
from pipeline.base import (
    ConfigError,
    LostpolError,
    Progress,
    Spread,
    Window,
    now,
    one_by_one,
    silent,
)
from pipeline.lake import FOUND, SEARCHED, SENSOR_DAYS, STATION, ZONES, Lake, lake_of
from pipeline.mill import Mill
from pipeline.period import notes_of
from pipeline.pull import PullResult, SourceLedger, open_journal, pull_files, unfinished
from pipeline.stages.carried import carried_into
from pipeline.stages.days import BLOCK_DAYS, blocks_reached, changed_days, days_of, work_out
from pipeline.stages.glance import keep_season
from pipeline.stages.identity import describe_run
from pipeline.stages.rot import Mended, answered, lines_of, mend_days_of
from pipeline.stages.search_plan import SearchPlan, plan_again, plan_search, stamp_in
from pipeline.stages.search_results import forget, keep, season_rows
from pipeline.stages.search_windows import SearchWindow
from pipeline.store import RunResult, store_of
from pipeline.words import said


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
    publish: bool = True,
) -> PullResult:
    """Read export files into the lake and note the days that must be worked out again.

    Parameters
    ----------
    files : sequence of Path
        Exports; with none, only a pull that was stopped is completed.
    in_full, again : bool
        As ``pipeline.pull.pull_files`` takes them.
    publish : bool
        Let readers see at once what was pulled; a run lets them see it with what it found.

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
        store.record_pull(rows, list(result.days_changed), publish=publish)

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
            said("The description names no vessels, so no loss can be worked out."),
            str(mill.config_path),
            said("Add the vessels of the station as [[train]] sections, in flow order."),
        )
    if unfinished(mill.incoming_path):
        pull(mill, [])
    lake, store = lake_of(mill), store_of(mill)
    every = days_of(lake)
    span = set(every)
    waiting = set(store.pending_days())
    asked = span & (set(days or ()) | changed_days(mill, store, waiting, span))
    # A day that was never worked out is new to its neighbours, whether or not it has readings.
    blocks = blocks_reached(asked | (span - set(lake.feature_days(STATION))), every)
    minutes = [day for block in blocks for day in block.days]
    forget(lake, minutes)  # first: a run stopped halfway must not trust them
    total = len(minutes)
    spread(
        work_out,
        [(mill, lake, block) for block in blocks],
        lambda done: progress(
            "Following the juice through the station", min(BLOCK_DAYS * done, total), total
        ),
    )
    if asked & waiting:
        store.clear_pending(sorted(asked & waiting))
    return total


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
        _search_seasons(mill, lake, job, progress, spread)
        judged = publish(mill, job, run)
    except BaseException:
        with suppress(LostpolError):  # what stopped the run tells more
            store.record_run(run | {"state": "failed", "finished_at": now()})
        raise
    progress("Looking for losses", 1, 1)
    return judged


def _search_seasons(
    mill: Mill,
    lake: Lake,
    job: SearchPlan,
    progress: Progress,
    spread: Spread,
) -> None:
    """Search season after season: each begins with what the one before tells of the level."""
    searched = 0
    for season in range(job.search_windows[-1].season + 1):
        # Planned again: what the season before tells may have changed just now.
        anew = (job if season == 0 else plan_again(lake, job)).anew
        pieces = [
            (mill, search_window, job.stamp, inputs)
            for search_window, inputs in anew
            if search_window.season == season
        ]
        spread(
            search_one, pieces, partial(_told_of, progress, searched, searched + len(pieces) + 1)
        )
        searched += len(pieces)


def _told_of(progress: Progress, before: int, total: int, done: int) -> None:
    progress("Looking for losses", before + done, total)


def search_one(mill: Mill, search_window: SearchWindow, stamp: str, inputs: str) -> None:
    """Search one search window and keep in the lake what it says; touches no database."""
    lake = lake_of(mill)
    carried = carried_into(lake, search_window)
    begun = mill if carried is None else carried.on(mill)
    losses = search(begun, lake, search_window.sees)
    keep(mill, lake, search_window, losses, stamp_in(lake, search_window, stamp), inputs)


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
    keep_season(mill)
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
    settings = Settings(mill.false_findings_per_week, mill.smallest_finding_t)
    return find_losses(
        lake.read_features(STATION, first, last).filter(inside),
        lake.read_features(ZONES, first, last).filter(inside),
        lab_results(readings, mill.station).filter(inside),
        mill.station,
        settings,
        zone=mill.zone,
        notes=notes_of(mill),
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
