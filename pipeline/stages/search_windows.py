"""A season is searched in search windows, so that a night's work does not grow with the season.

A search window owns some weeks and sees a halo of weeks on either side: enough for the slow
baseline, the usual loss and the multiplier. Its findings are those that start in what it owns.
Where search windows lie follows from the first day with readings, the end of data and the look-back
alone, and what one says from the readings it sees alone. So it makes no difference whether a season
came night by night, late or in one piece: only search windows that see a changed day are searched
again, and what the others said stands in the lake.

The last search window owns everything up to the end of data. It is parted only when the part left
behind sees its whole halo and no more days that the next nights work out again.

Here is where search windows lie; `pipeline.stages.search_plan` tells which of them have to be
searched, and `pipeline.stages.search_results` keeps what the search of each one said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from pipeline.base import ONE_DAY, Window, midnight
from pipeline.lake import Lake, data_bounds, seasons_of, worked_out
from pipeline.mill import Mill
from pipeline.stages.days import UNSETTLED_DAYS

#: Shortest halo [days]: the slow baseline takes a week either side, and an episode its own length.
_LEAST_HALO: Final = 14


@dataclass(frozen=True, slots=True)
class SearchWindow:
    """A part of a season that is searched on its own.

    Attributes
    ----------
    owns : Window
        Findings that start in it are told by this search window.
    sees : Window
        What is searched.
    open : bool
        It reaches to the end of data.
    season : int
        Number of its season among those planned together, from 0.
    begins : date or None
        First day of that season; None where no season before it is asked.
    """

    owns: Window
    sees: Window
    open: bool
    season: int = 0
    begins: date | None = None

    @property
    def day(self) -> date:
        """Day under which the lake files what it says."""
        return self.owns.start.date()


def plan(mill: Mill, lake: Lake) -> list[SearchWindow]:
    """Search windows of all days worked out, in order.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    """
    days = worked_out(mill, lake)
    seasons = seasons_of(sorted(set(lake.days()) & set(days)) or days)
    found: list[SearchWindow] = []
    for number, season in enumerate(seasons):
        whole = Window(*data_bounds(mill, lake, season))
        found += [
            replace(search_window, season=number, begins=season[0])
            for search_window in search_windows(
                whole, mill.detection.look_back_days, open_=season is seasons[-1]
            )
        ]
    return found


def search_windows(
    season: Window, look_back_days: int, *, open_: bool = True
) -> list[SearchWindow]:
    """Part a season.

    Parameters
    ----------
    season : Window
        From the first reading to the end of data.
    look_back_days : int
        What a search window owns [days]; the last one owns more. A halo is half of it, two weeks at
        least.
    open_ : bool
        More readings are expected.
    """
    anchor = midnight(season.start.date())
    halo = max(look_back_days // 2, _LEAST_HALO) * ONE_DAY
    core = look_back_days * ONE_DAY
    parted = max((season.end - anchor - halo - UNSETTLED_DAYS * ONE_DAY) // core, 0)
    found = []
    for n in range(parted + 1):
        last = n == parted
        owns = Window(
            max(anchor + n * core, season.start), season.end if last else anchor + (n + 1) * core
        )
        sees = Window(max(owns.start - halo, season.start), min(owns.end + halo, season.end))
        found.append(SearchWindow(owns, sees, open_ and last))
    return found
