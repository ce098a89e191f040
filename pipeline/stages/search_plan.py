"""Which search windows of a season to search: those that no search of these readings knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from pipeline.base import ConfigError, Window
from pipeline.lake import Lake
from pipeline.mill import Mill
from pipeline.stages.carried import carried_into
from pipeline.stages.identity import short_hash, stamp_of
from pipeline.stages.search_results import searched
from pipeline.stages.search_windows import SearchWindow, plan
from pipeline.words import said


@dataclass(frozen=True, slots=True)
class SearchPlan:
    """What a search of the season has to do.

    Attributes
    ----------
    window : Window
        The whole season.
    inputs, stamp : str
        Hashes of its readings, and of description and versions.
    search_windows : tuple of SearchWindow
        All of them, in order.
    anew : tuple of (SearchWindow, str)
        Those to search, each with the hash of the readings it sees.
    anew_from : datetime
        What sees minutes from here on is searched, changed or not.
    """

    window: Window
    inputs: str
    stamp: str
    search_windows: tuple[SearchWindow, ...]
    anew: tuple[tuple[SearchWindow, str], ...]
    anew_from: datetime


def stamp_in(lake: Lake, search_window: SearchWindow, stamp: str) -> str:
    """Stamp of the search of a window: that of the mill, and of what the season before tells."""
    carried = carried_into(lake, search_window)
    return stamp if carried is None else carried.stamped(stamp)


def plan_search(mill: Mill, lake: Lake, first: date | None = None) -> SearchPlan:
    """Tell which search windows of the season have to be searched; see `pipeline.stages.detect`.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    ConfigError
        The first day lies after the end of data.
    """
    planned = plan(mill, lake)
    window = Window(planned[0].owns.start, planned[-1].owns.end)
    anew = mill.day_start_utc(first) if first is not None else window.end
    if first is not None and anew >= window.end:
        raise ConfigError(
            said("The window starts on {first}, after the end of data.", first=first),
            said(
                "data end at {when} local time",
                when=f"{window.end.astimezone(mill.tz):%Y-%m-%d %H:%M}",
            ),
            said("Give an earlier first day, or pull newer exports."),
        )
    return _planned(lake, window, stamp_of(mill), tuple(planned), anew)


def plan_again(lake: Lake, job: SearchPlan) -> SearchPlan:
    """The same plan once some of it was searched: what a season tells changes the next one."""
    return _planned(lake, job.window, job.stamp, job.search_windows, job.anew_from)


def _planned(
    lake: Lake,
    window: Window,
    stamp: str,
    search_windows: tuple[SearchWindow, ...],
    anew_from: datetime,
) -> SearchPlan:
    hashes, stale = [], []
    for search_window in search_windows:
        known = None
        if search_window.sees.end <= anew_from:
            known = searched(lake, search_window, stamp_in(lake, search_window, stamp))
        inputs = known["inputs"] if known else lake.readings_hash(*search_window.sees.days)
        hashes.append(inputs)
        if known is None:
            stale.append((search_window, inputs))
    inputs = hashes[0] if len(hashes) == 1 else short_hash(hashes)
    return SearchPlan(window, inputs, stamp, search_windows, tuple(stale), anew_from)
