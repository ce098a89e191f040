"""What the laboratory says of a finding, and of each day, beside what kinetics say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Column, Columns, polars_schema
from features.kinetics import Z90
from models.amount import Balance, Excess, OrdinaryBalance
from models.base import Array, Minutes
from models.cause.episode import fact

#: What `daily_frame` gives.
DAILY_COLUMNS: Columns = {
    "day": Column(pl.Date(), "plant-local time", "Day."),
    "sucrose_fed_t": Column.number("t", "Sucrose fed."),
    "kinetic_t": Column.number("t", "Sucrose lost by the kinetics."),
    "chemical_t": Column.number("t", "Sucrose lost by laboratory pairs; null without."),
    "chemical_sd_t": Column.number("t", "Standard error of chemical_t."),
    "unexplained_t": Column.number("t", "chemical_t less kinetic_t."),
    "detection_limit_t": Column.number(
        "t", "Loss that the ordinary daily balance sees every second time."
    ),
    "pairs": Column.count("Laboratory pairs of the day."),
}
_LEAST_QUIET_PAIRS = 8
_BEARS_OUT: Final = (
    "So the laboratory sees more than usual, and as much as the kinetics: it bears this out."
)
_SEES_OTHER: Final = (
    "So the laboratory sees more than usual, but another amount than the kinetics: something was "
    "lost, and its tonnes are less sure."
)
_SEES_MORE: Final = "So the laboratory sees more than usual: it bears this out."
_CANNOT_TELL: Final = (
    "So between these two points the laboratory can tell it neither from the usual nor from the "
    "kinetics: the samples are too few there, and speak neither for nor against it."
)
_SPEAKS_AGAINST: Final = (
    "So the laboratory sees no more than usual, and less than the kinetics: it speaks against this."
)
#: Correlation of neighbouring pairs: half of a pair's variance is that of the limed juice, and
#: neighbours share about half of its samples (estimate; 0.12-0.22 on tuning seasons).
_NEIGHBOURS = 0.25


@dataclass(frozen=True)
class LabCheck:
    """Laboratory and ordinary balance, ready to be asked.

    Attributes
    ----------
    balance : Balance
        Inversion between limed and clear juice by chemistry.
    kinetic_pct : ndarray, shape (n,)
        The same by kinetics, multiplier and corrected pH applied, by minute [% of sucrose].
    zones : set of str
        Zones between limed and clear juice.
    ordinary : OrdinaryBalance
    quiet : ndarray of bool, shape (n,)
        True outside every candidate and stop.
    """

    balance: Balance
    kinetic_pct: Array
    zones: set[str]
    ordinary: OrdinaryBalance
    quiet: NDArray[np.bool_]

    def evidence(
        self,
        bounds: tuple[int, int],
        lost_kg: float,
        excess_kg: dict[str, float],
        *,
        microbes: bool = False,
    ) -> dict[str, object]:
        """Evidence entries ``lab`` and ``ordinary_balance`` of a finding.

        Parameters
        ----------
        bounds : tuple of int
            First minute of the finding and the one after its last.
        lost_kg : float
            Its loss [kg].
        excess_kg : dict of str to float
            How the loss lies over the zones [kg, or any share of it].
        microbes : bool
            True where sucrose was eaten rather than inverted.
        """
        total = sum(excess_kg.values())
        covered = sum(kg for zone, kg in excess_kg.items() if zone in self.ordinary.zones)
        share = covered / total if total > 0.0 else 0.0
        speaks = any(zone in self.zones for zone in excess_kg)
        return {
            "lab": self._lab_lines(*bounds) if speaks and not microbes else [],
            "ordinary_balance": self.ordinary.says(bounds, lost_kg, share, microbes=microbes),
        }

    def _lab_lines(self, start: int, end: int) -> list[dict[str, object]]:
        inside = (self.balance.minute >= start) & (self.balance.minute < end)
        usual = self.quiet[self.balance.minute]
        if not inside.any() or usual.sum() < _LEAST_QUIET_PAIRS:
            return []
        mean, sd = period_mean(self.balance, inside)
        usually = period_mean(self.balance, usual)[0]
        span = {"low": round(mean - Z90 * sd, 4), "high": round(mean + Z90 * sd, 4)}
        form = "sucrose inverted between limed and clear juice, by {n} pairs of laboratory samples"
        lines = [fact(form, mean, "%", usual=usually, n=str(int(inside.sum()))) | span]
        kinetic = self.kinetic_pct[self.balance.minute[inside]]
        by_kinetics = float(np.nanmean(kinetic)) if np.isfinite(kinetic).any() else float("nan")
        if math.isfinite(by_kinetics):
            lines.append(fact("the same by kinetics, for the same samples", by_kinetics, "%"))
        says = balance_says(mean - usually, by_kinetics - usually, sd)
        return [*lines, {"text": says, "value": None, "unit": ""}]


def balance_says(rise: float, expected: float, sd: float) -> str:
    """What the laboratory's balance concludes about a finding.

    Parameters
    ----------
    rise : float
        Inversion by the laboratory above its usual [% of sucrose].
    expected : float
        The same by kinetics; NaN where that is not known [% of sucrose].
    sd : float
        Standard error of `rise` [% of sucrose].
    """
    more = rise > Z90 * sd
    if not math.isfinite(expected):
        return _SEES_MORE if more else _CANNOT_TELL
    agrees = abs(rise - expected) <= Z90 * sd
    if more:
        return _BEARS_OUT if agrees else _SEES_OTHER
    # A finding so small beside the error cannot be denied either.
    return _CANNOT_TELL if agrees else _SPEAKS_AGAINST


def period_mean(balance: Balance, chosen: NDArray[np.bool_]) -> tuple[float, float]:
    """Weighted mean of the chosen pairs and its standard error, shared errors included [%]."""
    weight = 1.0 / balance.sd_pct[chosen] ** 2
    weight = weight / weight.sum()
    n = len(weight)
    correlated = 1.0 + 2.0 * _NEIGHBOURS * (n - 1) / n
    random = math.sqrt(correlated) * float(np.linalg.norm(weight * balance.sd_pct[chosen]))
    shared = float(np.linalg.norm(weight @ balance.systematic_pct[chosen]))
    return float(weight @ balance.seen_pct[chosen]), math.hypot(random, shared)


def published_pct(minutes: Minutes, limed: Array, clear: Array) -> Array:
    """Inversion between limed and clear juice at multiplier 1, pH corrected [% of sucrose].

    Parameters
    ----------
    minutes : Minutes
    limed, clear : ndarray, shape (n,)
        Probe reading minus truth [pH].
    """
    return minutes.station["inverted_pred_pct"] * 10.0 ** (0.5 * (limed + clear))


def zone_excess_kg(
    excess: Excess, zones: tuple[str, ...], start: int, end: int
) -> dict[str, float]:
    """Loss above the reference in each zone, none below 0, at multiplier 1 [kg]."""
    over = {z: excess.loss_kg_h[z][start:end] - excess.reference_kg_h[z][start:end] for z in zones}
    return {z: max(float(np.nansum(kg_h)) / 60.0, 0.0) for z, kg_h in over.items()}


def daily_frame(minutes: Minutes, lab_check: LabCheck, zone: str = "UTC") -> pl.DataFrame:
    """Loss between limed and clear juice, day by day: by kinetics, by chemistry, and the rest.

    Parameters
    ----------
    minutes : Minutes
    lab_check : LabCheck
    zone : str
        IANA name of the time zone whose midnights part the days.

    Returns
    -------
    DataFrame
        Columns of `DAILY_COLUMNS`, one row a calendar day that has minutes. unexplained_t is for
        the samples of the day alone, and no finding contains it.
    """
    return pl.DataFrame(
        [_day(minutes, lab_check, bounds) for bounds in _days(minutes, zone)],
        schema=polars_schema(DAILY_COLUMNS),
        orient="row",
    )


def _days(minutes: Minutes, zone: str) -> list[tuple[date, int, int]]:
    """Each calendar day with its first minute and the one after its last."""
    times = pl.datetime_range(minutes.start_utc, minutes.at(minutes.n - 1), "1m", eager=True)
    days = times.dt.convert_time_zone(zone).dt.date()
    starts = [0, *(np.flatnonzero(np.diff(days.to_physical().to_numpy())) + 1), minutes.n]
    return [(days[int(a)], int(a), int(b)) for a, b in pairwise(starts)]


def _day(
    minutes: Minutes, lab_check: LabCheck, bounds: tuple[date, int, int]
) -> tuple[date | float | int | None, ...]:
    day, first, last = bounds
    fed_t = np.nan_to_num(minutes.station["sucrose_feed_kg_h"][first:last]) / 60_000.0
    fed = float(fed_t.sum())
    kinetic = float(np.nansum(lab_check.kinetic_pct[first:last] / 100.0 * fed_t))
    limit = lab_check.ordinary.limit(first, last)
    limit_t = limit.tonnes if limit is not None else None
    balance = lab_check.balance
    inside = (balance.minute >= first) & (balance.minute < last)
    count = int(inside.sum())
    if count == 0:
        return day, fed, kinetic, None, None, None, limit_t, 0
    mean, sd = period_mean(balance, inside)
    same = lab_check.kinetic_pct[balance.minute[inside]]
    rest = fed / 100.0 * (mean - float(np.nanmean(same))) if np.isfinite(same).any() else None
    return day, fed, kinetic, fed / 100.0 * mean, fed / 100.0 * sd, rest, limit_t, count
