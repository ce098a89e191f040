"""What the laboratory says of a finding, and of each day, beside what kinetics say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Column, Columns, polars_schema
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
        way = "inverted between limed and clear juice"
        unit = "% of sucrose"
        lines = [
            fact(f"{way} in this period, by laboratory balance", mean, unit),
            fact(f"standard error of that, from {int(inside.sum())} pairs of samples", sd, unit),
            fact(
                f"{way} usually, by laboratory balance", period_mean(self.balance, usual)[0], unit
            ),
        ]
        kinetic = self.kinetic_pct[self.balance.minute[inside]]
        if np.isfinite(kinetic).any():
            lines.append(
                fact(f"{way} in the same samples, by kinetics", float(np.nanmean(kinetic)), unit)
            )
        return lines


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
