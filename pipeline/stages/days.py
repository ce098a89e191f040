"""Which days have to be worked out again, and how they are: a whole block at a time.

A block is a week of the calendar, Monday to Sunday in UTC, wherever the data begin. It is worked
out in one go from the readings of its own days, of the `WARM_UP_DAYS` before it and of the day
after it, and of nothing else: not from what other blocks said. So each reading is screened once,
the juice is followed once, and a day is the same to the byte whether a nightly run, a backfill or
a cluster worked its block out, in whatever order.
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import polars as pl

from features.base import Each, Readings, brix_pct, lab_results, purity_pct
from features.flow import derive as derive_minutes
from features.signal import quality_counts, screen_by_tag, second_day, sensor_days, to_grid
from pipeline.base import ONE_DAY, midnight
from pipeline.lake import GRID, HEALTH, SENSORS, STATION, ZONES, Lake
from pipeline.mill import Mill
from pipeline.store import Store

#: Days of a block. Longer ones make a night dearer, shorter ones a backfill.
BLOCK_DAYS: Final = 7
#: Days before a block whose readings may still be in the juice that leaves in it: a weekend
#: stop and the hours the station takes.
WARM_UP_DAYS: Final = 2
#: Days after a block whose readings tell what its last hours were worth.
DAYS_AFTER: Final = 1
#: How far past the end of a block juice is followed, to bridge gaps that span midnight.
BEYOND: Final = timedelta(hours=2)
#: Days before the end of data that later readings may still change: those of the block that
#: the last of `DAYS_AFTER` closes.
UNSETTLED_DAYS: Final = BLOCK_DAYS + DAYS_AFTER


@dataclass(frozen=True, slots=True)
class Block:
    """Days worked out together.

    Attributes
    ----------
    first, last : date
        The UTC days it owns, both included: of its week those between the ends of data.
    warm : date
        First day whose readings are followed.
    ends : date
        Last day of data; nothing is worked out after it.
    """

    first: date
    last: date
    warm: date
    ends: date

    @property
    def days(self) -> list[date]:
        """The UTC days it owns."""
        return [self.first + n * ONE_DAY for n in range((self.last - self.first).days + 1)]


def changed_days(mill: Mill, store: Store, waiting: set[date], span: set[date]) -> set[date]:
    """Days to work out again: all when the description is not what the last run used."""
    if not store.path.exists():
        return span
    runs = store.runs().filter(pl.col("state") == "finished").sort("finished_at")
    if runs.is_empty() or runs["config_hash"][-1] == mill.config_hash:
        return waiting
    return span


def block_start(day: date) -> date:
    """First day of the block of the calendar that a day lies in, with data or without."""
    return day - (day.toordinal() - 1) % BLOCK_DAYS * ONE_DAY


def blocks_reached(asked: Iterable[date], span: list[date]) -> list[Block]:
    """Blocks to work out when the readings of some days changed, in order.

    Parameters
    ----------
    asked : iterable of date
        UTC days.
    span : list of date
        Every UTC day from the first to the last with readings.
    """
    reach = range(-DAYS_AFTER, WARM_UP_DAYS + 1)
    starts = {block_start(day + n * ONE_DAY) for day in asked for n in reach}
    found = []
    for start in sorted(starts):
        first = max(start, span[0])
        last = min(start + (BLOCK_DAYS - 1) * ONE_DAY, span[-1])
        if first <= last:
            warm = max(start - WARM_UP_DAYS * ONE_DAY, span[0])
            found.append(Block(first, last, warm, span[-1]))
    return found


def days_of(lake: Lake) -> list[date]:
    """Every UTC day from the first to the last with readings; days without any stay in it."""
    days = lake.days()
    if not days:
        return []
    return [days[0] + n * ONE_DAY for n in range((days[-1] - days[0]).days + 1)]


def work_out(mill: Mill, lake: Lake, block: Block) -> None:
    """Screen the readings of a block, put them on a grid, follow the juice; keep its days."""
    # As many threads as the frames' library takes: one on a worker that shares its machine.
    with ThreadPoolExecutor(pl.thread_pool_size(), "lostpol-block") as pool:
        for written in _worked_out(mill, lake, block, pool):
            written.result()


def _worked_out(
    mill: Mill, lake: Lake, block: Block, pool: ThreadPoolExecutor
) -> list[Future[bool]]:
    """Work out a block; its files may still be on their way to the disk."""
    signals, each = mill.station.signals, pool.map
    known = [*(s.tag for s in signals), *(s.tag for s in mill.station.lab)]
    end = block.last + DAYS_AFTER * ONE_DAY
    readings = lake.readings_by_tag(block.warm, end, known, keep=True, each=each)
    parts = screen_by_tag(readings, signals, mill.station.lab, each)
    grid = _grid(mill, parts, block, each)
    counts = quality_counts(parts)
    edges = [midnight(day) for day in [*block.days, block.last + ONE_DAY]]
    sensors = sensor_days(parts, signals, edges, each)
    derived = derive_minutes(grid, mill.station)
    kept = {GRID: grid, STATION: derived.station_minutes, ZONES: derived.zone_minutes}
    written = []
    for day, sensor in zip(block.days, sensors, strict=True):
        frames = {kind: _of_day(frame, day) for kind, frame in kept.items()}
        beside = second_day(frames[GRID], signals)
        frames[HEALTH] = counts.filter(pl.col("day") == day)
        frames[SENSORS] = sensor.join(beside, on="tag", how="left", maintain_order="left")
        written += [
            pool.submit(lake.write_features, kind, day, frame) for kind, frame in frames.items()
        ]
    return written


def _grid(mill: Mill, parts: Readings, block: Block, each: Each) -> pl.DataFrame:
    """Minutes of a block and its halo, with the laboratory's word on the feed."""
    end = min(midnight(block.last, 1) + BEYOND, midnight(block.ends, 1))
    grid = to_grid(parts, mill.station.signals, midnight(block.warm), end, each)
    lab = lab_results(parts, mill.station)
    purity = purity_pct(grid["ts_utc"], lab, "mixed_juice")
    brix = brix_pct(grid["ts_utc"], lab, "mixed_juice")
    # Loss must stay known where the laboratory is silent, so the target stands in.
    purity = purity.fill_null(mill.station.targets.purity_pct)
    return grid.with_columns(purity_mixed_juice_pct=purity, brix_mixed_juice_lab_pct=brix)


def _of_day(frame: pl.DataFrame, day: date) -> pl.DataFrame:
    return frame.filter(pl.col("ts_utc").is_between(midnight(day), midnight(day, 1), closed="left"))
