"""Whether the laboratory can tell the level of the loss, how well, and by which analyses.

Before a season is worked out the station is taken as it stands at its targets: how much inverts
on the way to each sampling point, how much of its reducing sugars is destroyed. The samples, their
errors and the fit are those of the search.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Final

from features.base import Analyte, Station
from models.level import expected_log_sd
from models.worth.nominal import nominal_of
from models.worth.planned import (
    EVERY_H,
    TELLING,
    Laboratory,
    Point,
    Series,
    laboratory_of,
    last_place,
    point_of,
)
from models.worth.seen import factor_of, rests_on_prior

#: Numbers of samples that are tried, round ones: nobody plans to the single sample.
_TRIED: Final = (10, 15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300)
_MANY: Final = 300
#: Samples suffice when a season of them cannot narrow the spread by more than this share
#: (judgement).
_NEARLY: Final = 0.25
#: A cure leaves at most this share of the prior's error: it halves it.
_HALVED: Final = 0.5
#: Where nothing halves it, a set of analyses is no cure when another leaves less than this share of
#: its spread (judgement).
_AS_GOOD: Final = 0.75
#: What a laboratory could analyse at two points, the usual first.
_ASKED: Final[tuple[tuple[Analyte, ...], ...]] = (
    ("rs",), ("rs", "brix"), ("brix", "pol"), ("purity",), ("rs", "brix", "pol"),
    ("rs", "potassium"), ("rs", "chloride"), ("potassium",), ("chloride",), (),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cure:
    """Analyses that would let the laboratory tell the level.

    Attributes
    ----------
    add : tuple of (str, str)
        Analyte, and one of `models.worth.WHERE`: what is not analysed today. Empty where only
        results are wanting.
    samples : int
        Samples of each point from which on more help little.
    factor : float
        The tonnes are then known to this factor either way [-], other errors aside.
    last : str
        Vessel that ``last`` stands for; empty where there is none.
    """

    add: tuple[Point, ...]
    samples: int
    factor: float
    last: str = ""

    @property
    def analyses(self) -> int:
        """Analyses beyond today's."""
        return self.samples * len(self.add)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the laboratory's series promise.

    Attributes
    ----------
    points : bool
        Whether the train has a liming tank and a settler to sample behind.
    prior_factor : float
        What the description alone leaves the level known to, either way [-].
    told_at : tuple of str
        Points of `models.worth.WHERE` whose analyses can be compared.
    last : str
        Vessel that ``last`` stands for; empty where there is none.
    enough_samples : int
        Samples of each from which on more help little; 0 where nothing can be compared.
    enough_factor : float
        Factor either way with them; the prior's where there are none [-].
    promising : bool
        With them the laboratory outweighs the prior.
    cure : Cure or None
        The fewest analyses that halve the prior's error, or do nearly as well as any; None where
        nothing would help.
    """

    points: bool
    prior_factor: float
    told_at: tuple[str, ...]
    last: str
    enough_samples: int
    enough_factor: float
    promising: bool
    cure: Cure | None


def outlook_of(station: Station) -> Outlook:
    """What the laboratory series of a station promise, before there is any result.

    Parameters
    ----------
    station : Station
        With the lab series that count: leave out those that report nothing.

    Returns
    -------
    Outlook
    """
    prior = factor_of(station.kinetics.multiplier_log_sd)
    nominal = nominal_of(station)
    if nominal is None:
        return Outlook(False, prior, (), "", 0, prior, False, None)
    laboratory, have = laboratory_of(station, nominal), analysed(station)
    tried = _Tried(laboratory)
    steps = {laboratory.steps[one.where] for one in laboratory.series(have, _TRIED[0])}
    told = tuple(where for where, step in laboratory.steps.items() if step in steps)
    count, log_sd = _enough(tried, have) if told else (0, station.kinetics.multiplier_log_sd)
    return Outlook(
        True,
        prior,
        told,
        last_place(station) or "",
        count,
        factor_of(log_sd),
        not _prior_wins(station, count, log_sd),
        _cheapest(tried, have),
    )


def analysed(station: Station) -> dict[Point, float]:
    """Analyte and point of the series that tell of inversion, with the hours of composites."""
    found: dict[Point, float] = {}
    for series in station.lab:
        where = point_of(station, series.place)
        if where is not None and series.analyte in TELLING:
            held = found.get((series.analyte, where), series.period_h)
            found[series.analyte, where] = min(held, series.period_h)
    return found


@dataclass(frozen=True, slots=True)
class _Tried:
    """Analyses that were tried in turn; most sets of them tell the same as another."""

    laboratory: Laboratory
    known: dict[tuple[int, tuple[Series, ...]], float] = field(default_factory=dict)

    def log_sd(self, points: Mapping[Point, float], count: int) -> float:
        """Error that so many samples of some points would leave."""
        laboratory, series = self.laboratory, self.laboratory.series(points, count)
        if (count, series) not in self.known:
            samples = [laboratory.drawn(one) for one in series]
            self.known[count, series] = expected_log_sd(
                samples, laboratory.station, laboratory.shares, count * EVERY_H
            )
        return self.known[count, series]


def _enough(tried: _Tried, points: Mapping[Point, float]) -> tuple[int, float]:
    """How many samples suffice, and the error that they leave."""
    limit = (1.0 + _NEARLY) * tried.log_sd(points, _MANY)

    def suffice(count: int) -> bool:
        return tried.log_sd(points, count) <= limit

    # More samples never tell less, so the first number that suffices is found by halving.
    count = _TRIED[bisect_left(_TRIED, True, key=suffice)]
    return count, tried.log_sd(points, count)


def _prior_wins(station: Station, count: int, log_sd: float) -> bool:
    return rests_on_prior(count, log_sd, station.kinetics.multiplier_log_sd)


def _cheapest(tried: _Tried, have: Mapping[Point, float]) -> Cure | None:
    """Fewest further analyses that halve the prior's error, or do nearly as well as any."""
    laboratory = tried.laboratory
    known: dict[frozenset[Point], float] = {}
    for wanted in _sets(laboratory):
        add = frozenset(wanted - have.keys())
        if add not in known:
            known[add] = tried.log_sd(dict(have) | dict.fromkeys(add, 0.0), _MANY)
    station = laboratory.station
    useful = {add: sd for add, sd in known.items() if not _prior_wins(station, _MANY, sd)}
    if not useful:
        return None
    halved = _HALVED * station.kinetics.multiplier_log_sd
    least = max(halved, min(useful.values()) / _AS_GOOD)
    good = [add for add, log_sd in useful.items() if log_sd <= least]
    # The fewest kinds of analyses first; sets that do alike stay in their order, the usual first.
    add = min(good, key=lambda one: (len(one), round(useful[one], 1)))
    count, log_sd = _enough(tried, dict(have) | dict.fromkeys(add, 0.0))
    return Cure(tuple(sorted(add)), count, factor_of(log_sd), last_place(station) or "")


def _sets(laboratory: Laboratory) -> Iterator[set[Point]]:
    """Analyses of any two points, none needlessly many."""
    for asked in _ASKED:
        for both in combinations(laboratory.steps, 2):
            yield {(analyte, where) for analyte in asked for where in both}
