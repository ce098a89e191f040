"""Whether the level of the loss rests on this mill's laboratory, and what would make it so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Final

import polars as pl

from features.base import Station, lab_results
from models.worth import (
    Outlook,
    Point,
    Seen,
    analysed,
    factor_of,
    outlook_of,
    rests_on_prior,
    results_seen,
)
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.words import cure_words, level_words

#: A level surer than this share of the description's error is not the description's.
_SURER: Final = 0.95


@dataclass(frozen=True, slots=True)
class LabState:
    """What the laboratory of a mill can tell of the level, and has told.

    Attributes
    ----------
    outlook : Outlook
        Of the series that report; of all that are described where none does yet.
    seen : Seen
        Of the results in the store, over the days that a night judges again.
    described : frozenset of (str, str)
        Analyte and point of the series that the description names.
    any_result : bool
        Whether any series reports.
    """

    outlook: Outlook
    seen: Seen
    described: frozenset[Point]
    any_result: bool

    @property
    def cure(self) -> str:
        """The cheapest cure in words; empty where the laboratory tells, or nothing would help."""
        if self.outlook.cure is None:
            return ""
        return cure_words(self.outlook.cure, self.described, self.seen.samples)


def lab_state(mill: Mill, last: date | None = None) -> LabState:
    """Look at the laboratory's series and at their results up to a UTC day.

    Parameters
    ----------
    mill : Mill
    last : date, optional
        Last UTC day looked at; left out: the last with readings.
    """
    lake, station = lake_of(mill), mill.station
    days = lake.days()
    lab = lab_results({}, station)
    if days:
        end = last or days[-1]
        start = end - timedelta(days=mill.detection.look_back_days)
        readings = lake.read_readings(start, end, [series.tag for series in station.lab])
        lab = lab_results(readings, station)
    return LabState(
        _outlook(_reporting(station, lab)),
        results_seen(lab, station),
        frozenset(analysed(station)),
        not lab.is_empty(),
    )


def state_of_series(described: Station, reporting: Station) -> LabState:
    """What the laboratory can tell before there is any result.

    Parameters
    ----------
    described, reporting : Station
        With all series, and with those that will report.
    """
    nothing = lab_results({}, reporting)
    points = frozenset(analysed(described))
    return LabState(_outlook(reporting), results_seen(nothing, reporting), points, False)


def level_beware(mill: Mill, log_sd: float, pairs: int, last: date) -> str:
    """Say so where a level rests on the description; empty where it was fitted.

    Parameters
    ----------
    mill : Mill
    log_sd : float
        Standard error of the logarithm of the multiplier that was used [-].
    pairs : int
        Laboratory pairs behind it.
    last : date
        Last UTC day that it knew.
    """
    if not rests_on_prior(pairs, log_sd, mill.station.kinetics.multiplier_log_sd):
        return ""
    # Without a sample the level is the prior's; a surer one than the description's was carried.
    carried = pairs == 0 and log_sd < _SURER * mill.station.kinetics.multiplier_log_sd
    return level_words(factor_of(log_sd), pairs, lab_state(mill, last).cure, carried=carried)


@lru_cache(maxsize=8)
def _outlook(station: Station) -> Outlook:
    """A station's outlook, kept: every report and dossier of a night asks the same."""
    return outlook_of(station)


def _reporting(station: Station, lab: pl.DataFrame) -> Station:
    """The station with the lab series that report; all of them before the first result."""
    if lab.is_empty():
        return station
    told = set(lab.select("analyte", "place", "port").unique().iter_rows())
    return replace(
        station, lab=tuple(s for s in station.lab if (s.analyte, s.place, s.port) in told)
    )
