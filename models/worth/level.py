"""Whether the laboratory can tell the level of the loss, how well, and by which analyses.

Before a season is worked out the station is taken as it stands at its targets: how much inverts
between the two sampling points, how long the juice takes between them, how much of its reducing
sugars is destroyed on the way. The pairs, their errors and the fit are those of the search.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from features.balance import pair_estimates
from features.base import Analyte, Station
from models.amount import (
    LEAST_PAIRS,
    PAIRED,
    Multiplier,
    expected_fit,
    join_methods,
    lab_points,
)
from models.base import Array
from models.worth.nominal import Nominal, nominal_of
from models.worth.pairs import Point, factor_of, rests_on_prior

#: Numbers of pairs that are tried, round ones: nobody plans to the single sample.
_TRIED: Final = (LEAST_PAIRS, 10, 15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300)
_MANY: Final = 300
#: Pairs suffice when a season of them cannot narrow the spread by more than this share (judgement).
_NEARLY: Final = 0.5
#: A set of analyses is no cure when another leaves less than this share of its spread (judgement).
_AS_GOOD: Final = 0.75
#: Most analytes of one set.
_SET: Final = 3
#: Relative standard error of an analysis that no series of the mill tells (estimate: routine
#: methods, as in `models.simulator`; potassium and chloride as reducing sugars).
_USUAL_REL_SD: Final[dict[Analyte, float]] = {
    "rs": 0.025, "brix": 0.0055, "pol": 0.0066, "purity": 0.004,
    "potassium": 0.03, "chloride": 0.03,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cure:
    """Analyses that would let the laboratory tell the level.

    Attributes
    ----------
    add : tuple of (str, str)
        Analyte, and ``limed`` or ``clear``: what is not analysed as grab samples today. Empty where
        only results are wanting.
    pairs : int
        Pairs of samples from which on more help little.
    factor : float
        The tonnes are then known to this factor either way [-], other errors aside.
    """

    add: tuple[Point, ...]
    pairs: int
    factor: float

    @property
    def analyses(self) -> int:
        """Analyses beyond today's."""
        return self.pairs * len(self.add)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the laboratory's series promise.

    Attributes
    ----------
    points : bool
        Whether the train has a liming tank and a settler to sample behind.
    prior_factor : float
        What the description alone leaves the level known to, either way [-].
    least_factor : float or None
        The same with the fewest pairs that a fit takes; None where the series make no pairs.
    enough_pairs : int
        Pairs from which on more help little; 0 where the series make none.
    enough_factor : float
        Factor either way with them; the prior's where there are none [-].
    promising : bool
        With them the laboratory outweighs the prior.
    cure : Cure or None
        The fewest analyses that do as well as any; None where nothing would help.
    """

    points: bool
    prior_factor: float
    least_factor: float | None
    enough_pairs: int
    enough_factor: float
    promising: bool
    cure: Cure | None


def outlook_of(station: Station) -> Outlook:
    """What the laboratory series of a station promise, before there is any result.

    Parameters
    ----------
    station : Station
        With the lab series that count: leave out those that report nothing. Composites make no
        pairs.

    Returns
    -------
    Outlook
    """
    prior = factor_of(station.kinetics.multiplier_log_sd)
    nominal, have = nominal_of(station), _analysed(station)
    if nominal is None:
        return Outlook(False, prior, None, 0, prior, False, None)
    both = {a for a in PAIRED if {(a, "limed"), (a, "clear")} <= have}
    least, pairs, most = _promise(station, nominal, both)
    promising = pairs > 0 and not _prior_wins(station, most)
    return Outlook(
        True,
        prior,
        factor_of(least.log_sd) if pairs else None,
        pairs,
        factor_of(most.log_sd),
        promising,
        _cheapest(station, nominal, have),
    )


def _analysed(station: Station) -> set[Point]:
    """Analytes of grab samples at the two points."""
    points = lab_points(station)
    return {
        (s.analyte, name)
        for name, where in (("limed", points.limed), ("clear", points.clear))
        for s in station.lab
        if (s.place, s.port) == where and not s.period_h
    }


def _relative_sd(station: Station, analyte: Analyte) -> float:
    """Relative standard error of an analysis: that of the mill's own series, else the usual."""
    targets = station.targets
    pol = targets.brix_pct * targets.purity_pct / 100.0
    typical = {
        "brix": targets.brix_pct,
        "pol": pol,
        "purity": targets.purity_pct,
        "rs": station.kinetics.rs_per_sucrose_pct / 100.0 * pol,
    }.get(analyte)
    told = [
        max(s.rel_sd, s.sd / typical if typical else 0.0)
        for s in station.lab
        if s.analyte == analyte
    ]
    return max(told, default=0.0) or _USUAL_REL_SD[analyte]


def _joined(station: Station, nominal: Nominal, both: Collection[Analyte], n: int) -> Multiplier:
    """Expected fit to pairs for which the same analytes are known at both ends."""
    prior = station.kinetics
    results: dict[str, Array] = {}
    spread: dict[str, Array] = {}
    for analyte in sorted(both):
        for end in ("in", "out"):
            results[f"{analyte}_{end}"] = np.full(n, nominal.juice[analyte])
            spread[f"{analyte}_{end}"] = np.full(n, _relative_sd(station, analyte))
    joined = join_methods(pair_estimates(results, spread, np.full(n, nominal.rs_destroyed_pct)))
    known = np.isfinite(joined.seen_pct)
    return expected_fit(
        np.where(known, nominal.inverted_of(n), np.nan),
        joined.sd_pct,
        prior.multiplier,
        prior.multiplier_log_sd,
        joined.systematic_pct,
    )


def _promise(
    station: Station, nominal: Nominal, both: Collection[Analyte]
) -> tuple[Multiplier, int, Multiplier]:
    """Expected fit to the fewest pairs; how many suffice; the fit to those."""
    least = _joined(station, nominal, both, LEAST_PAIRS)
    if not least.pairs:
        return least, 0, least
    limit = (1.0 + _NEARLY) * _joined(station, nominal, both, _MANY).log_sd

    def suffice(pairs: int) -> bool:
        return _joined(station, nominal, both, pairs).log_sd <= limit

    # More pairs never tell less, so the first number that suffices is found by halving.
    pairs = _TRIED[bisect_left(_TRIED, True, key=suffice)]
    return least, pairs, _joined(station, nominal, both, pairs)


def _prior_wins(station: Station, fit: Multiplier) -> bool:
    return rests_on_prior(fit.pairs, fit.log_sd, station.kinetics.multiplier_log_sd)


def _cheapest(station: Station, nominal: Nominal, have: set[Point]) -> Cure | None:
    """Fewest further analyses among the sets that leave the level known nearly as well as any."""
    made: list[tuple[float, Cure]] = []
    worked: dict[frozenset[str], tuple[int, Multiplier]] = {}
    for asked in _sets():
        wanted = {(a, end) for a in asked for end in ("limed", "clear")}
        both = frozenset(a for a in PAIRED if {(a, "limed"), (a, "clear")} <= have | wanted)
        if both not in worked:
            worked[both] = _promise(station, nominal, both)[1:]
        pairs, fit = worked[both]
        if pairs and not _prior_wins(station, fit):
            add = tuple(sorted(wanted - have))
            made.append((fit.log_sd, Cure(add, pairs, factor_of(fit.log_sd))))
    if not made:
        return None
    best = min(log_sd for log_sd, _ in made)
    good = [(cure.analyses, log_sd, cure) for log_sd, cure in made if best >= _AS_GOOD * log_sd]
    # Sets that do alike stay in their order, the usual analyses first.
    return min(good, key=lambda item: (item[0], round(item[1], 1)))[2]


def _sets() -> Iterator[tuple[Analyte, ...]]:
    """Sets of analytes, none needlessly large."""
    for size in range(1, _SET + 1):
        yield from combinations(PAIRED, size)
