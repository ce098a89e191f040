"""How the times of a table are written, and in which zone."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

import polars as pl

from pipeline.cells import EPOCHS, time_formats
from pipeline.files import Head
from pipeline.layouts.columns import Places
from pipeline.layouts.when import joined_time, whole_rest
from pipeline.layouts.zones_said import Stated, stated_zone
from pipeline.mill import ExportLayout

_OWN_ZONE: Final = r"(?:\d[Zz]|\b(?:UTC|GMT)|:\d{2}(?:\.\d+)?\s?[+-]\d{2}(?::?\d{2})?)\s*$"


@dataclass(frozen=True, slots=True)
class Setting:
    """What the reading of a table may know of the mill and of the file it comes in.

    Attributes
    ----------
    tags : collection of str
        Tags of the mill.
    zone : str
        Zone of the mill.
    called : tuple of str
        Names of sheet, entry and file.
    """

    tags: Collection[str] = ()
    zone: str = ""
    called: tuple[str, ...] = ()


def written(
    where: str,
    given: str | None,
    at: Places,
    first: pl.DataFrame,
    rest: Iterable[pl.DataFrame],
) -> tuple[str, ...]:
    """How times are written: as described, else as found."""
    if given:
        return (given,)
    times = [time for time, _ in at.pairs] or [at.time]
    if len(times) == 1:
        return time_formats(where, joined_time(first, at)[at.time], whole_rest(rest, at))
    whole = pl.concat([first[name] for name in times])
    later = (pl.concat([frame[name] for name in times]) for frame in rest)
    return time_formats(where, whole, later)


def zone_stated(
    where: str,
    given: ExportLayout,
    at: Places,
    first: pl.DataFrame,
    head: Head | None,
    setting: Setting,
    formats: tuple[str, ...],
) -> Stated:
    """Zone of times that do not state their own."""
    if given.time_zone is not None:
        return Stated(given.time_zone)
    times = joined_time(first, at)[at.time]
    own = isinstance(times.dtype, pl.Datetime) and times.dtype.time_zone is not None
    if own or at.zone is not None or (formats and formats[0] in EPOCHS):
        return Stated(None)
    cells = times.drop_nulls()
    if cells.dtype == pl.String:
        cells = cells.filter(cells.str.contains(r"\d"))
        if len(cells) and bool(cells.str.contains(_OWN_ZONE).all()):
            return Stated(None)
    example = str(cells[0]) if len(cells) else ""
    above = head.above if head else ()
    return stated_zone(where, at.time, above, setting.zone, example, setting.called)
