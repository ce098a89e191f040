"""An account of any period: what was lost where and by what, against targets and the mill's usual.

Every number is a sum over minutes of what the search kept by vessel and driver, so that adjoining
periods add up to the whole, and what is told of a finding is told of its hours here, too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from features.base import Station
from models.account.driven import STANDING
from models.account.period_error import (
    Surroundings,
    Tonnes,
    above_tonnes,
    error_of_period,
    lost_tonnes,
)
from models.amount import DRIVERS

#: Driver of what microbes ate: known by findings alone, from the laboratory.
MICROBES = "microbes"
#: What changes above the usual although its driver was not measured.
NOT_MEASURED = "not measured"
#: Every driver by kinetics; their parts and the usual add up to the loss.
PERIOD_DRIVERS = (*DRIVERS, STANDING, NOT_MEASURED)


@dataclass(frozen=True)
class Touching:
    """A finding that touches the period.

    Attributes
    ----------
    finding_id, cause, section : str
    started, ended : datetime
    lost_t : float
        Of the whole finding [t].
    here : Tonnes
        Of it in the period.
    by_minute : bool
        False where time was shared evenly.
    """

    finding_id: str
    cause: str
    section: str
    started: datetime
    ended: datetime
    lost_t: float
    here: Tonnes
    by_minute: bool


@dataclass(frozen=True)
class VesselPart:
    """One vessel, or mud of a settler.

    Attributes
    ----------
    zone : str
    lost, above_usual : Tonnes
    target_t, usual_t : float
        The same hours at the targets, and as the mill usually runs [t].
    by_driver : dict of str to float
        What lies above the usual, by driver [t].
    not_measured_h : float
        Hours in which something the loss rests on was not measured.
    """

    zone: str
    lost: Tonnes
    above_usual: Tonnes
    target_t: float
    usual_t: float
    by_driver: dict[str, float]
    not_measured_h: float


@dataclass(frozen=True)
class DriverPart:
    """One driver over all vessels: what it put above the usual."""

    driver: str
    above_usual: Tonnes


@dataclass(frozen=True)
class PeriodAccount:
    """What a period lost.

    Attributes
    ----------
    start, end : datetime
    known_h, standing_h : float
        Hours worked out, and of these in stops.
    fed_t : float
        Sucrose fed [t].
    lost, above_usual, above_target : Tonnes
        All that was lost, and how much of it lies above either level.
    usual_t, target_t : float
        The same hours as the mill usually runs, and at the targets [t].
    by_vessel, by_driver : tuple
        In flow order; largest first.
    findings : tuple of Touching
    ph_sd, level_log_sd : float
        Errors that all of it shares.
    """

    start: datetime
    end: datetime
    known_h: float
    standing_h: float
    fed_t: float
    lost: Tonnes
    above_usual: Tonnes
    above_target: Tonnes
    usual_t: float
    target_t: float
    by_vessel: tuple[VesselPart, ...]
    by_driver: tuple[DriverPart, ...]
    findings: tuple[Touching, ...] = ()
    ph_sd: float = 0.0
    level_log_sd: float = 0.0

    @property
    def lost_pct(self) -> float | None:
        """Loss as a share of the sucrose fed [%]; None where next to none was fed."""
        return 100.0 * self.lost.mid / self.fed_t if self.fed_t > self.lost.mid else None


def account_of_period(
    driven: pl.DataFrame,
    bounds: tuple[datetime, datetime],
    station: Station,
    *,
    fed_kg: float = 0.0,
    temp_degc: Mapping[str, float] | None = None,
    findings: Sequence[Touching] = (),
) -> PeriodAccount:
    """Account of a period.

    Parameters
    ----------
    driven : polars.DataFrame
        Rows of ``models.account.DRIVEN_COLUMNS``; those outside the period are left out.
    bounds : tuple of datetime
        Start and end (excluded), whole minutes.
    station : Station
    fed_kg : float
        Sucrose fed in the period [kg].
    temp_degc : mapping of str to float, optional
        Mean temperature of each zone in it [degC].
    findings : sequence of Touching
        Findings that touch it. What microbes ate is known by them alone and comes on top.

    Returns
    -------
    PeriodAccount
        ``lost`` = ``usual_t`` + the sum of ``by_driver``; likewise in each vessel.
    """
    rows_of = pl.col("ts_utc").is_between(*bounds, closed="left") & pl.col("zone").is_in(
        [zone for zone in driven["zone"].unique() if _known(zone, station)]
    )
    inside = driven.filter(rows_of)
    zones = _zones(inside)
    around = Surroundings(
        {zone.name: zone.lost_kg for zone in zones},
        temp_degc or {},
        _mean(inside, "ph_sd"),
        _mean(inside, "level_log_sd"),
    )
    error = error_of_period(around, station)
    eaten = [(f.section, f.here) for f in findings if f.cause == "microbial"]
    every = tuple(amount for _, amount in eaten)
    totals = {name: sum(zone.parts_kg[name] for zone in zones) for name in PERIOD_DRIVERS}
    lost_kg, target_kg, usual_kg = (
        sum(getattr(zone, name) for zone in zones) for name in ("lost_kg", "target_kg", "usual_kg")
    )
    drivers = [
        DriverPart(name, above_tonnes({name: kg}, around, error)) for name, kg in totals.items()
    ]
    if every:
        # Never less than nothing, as the findings themselves: one error, told alike everywhere.
        drivers.append(DriverPart(MICROBES, lost_tonnes(0.0, error, every)))
    stood = inside.filter(pl.col(STANDING).is_not_null())["ts_utc"].n_unique()
    return PeriodAccount(
        start=bounds[0],
        end=bounds[1],
        known_h=inside["ts_utc"].n_unique() / 60.0,
        standing_h=stood / 60.0,
        fed_t=fed_kg / 1000.0,
        lost=lost_tonnes(lost_kg, error, every),
        above_usual=above_tonnes(totals, around, error, every),
        above_target=above_tonnes(totals | {"usual": usual_kg - target_kg}, around, error, every),
        usual_t=usual_kg / 1000.0,
        target_t=target_kg / 1000.0,
        by_vessel=tuple(_vessel(zone, around, station, eaten) for zone in zones),
        by_driver=tuple(sorted(drivers, key=lambda part: -abs(part.above_usual.mid))),
        findings=tuple(findings),
        ph_sd=around.ph_sd,
        level_log_sd=around.level_log_sd,
    )


@dataclass(frozen=True)
class _Zone:
    """Sums of one zone over the period [kg], and its hours not measured."""

    name: str
    lost_kg: float
    target_kg: float
    usual_kg: float
    parts_kg: dict[str, float]
    not_measured_h: float


def _known(zone: str, station: Station) -> bool:
    return any(v.name == zone.partition(":")[0] for v in station.vessels)


def _mean(frame: pl.DataFrame, column: str) -> float:
    value = frame[column].cast(pl.Float64).mean()
    return float(value) if isinstance(value, float) else 0.0


def _zones(inside: pl.DataFrame) -> list[_Zone]:
    """Sums over minutes by zone, in the order of the rows."""
    names = (*DRIVERS, STANDING)
    rates = ("lost_kg_h", "target_kg_h", "usual_kg_h")
    table = inside.group_by("zone", maintain_order=True).agg(
        *(pl.col(name).cast(pl.Float64).sum() / 60.0 for name in (*rates, *names)),
        unmeasured=(~pl.col("measured")).sum() / 60.0,
    )
    found = []
    for row in table.to_dicts():
        lost, target, usual = (float(row[name]) for name in rates)
        parts = {name: float(row[name]) for name in names}
        parts[NOT_MEASURED] = lost - usual - sum(parts.values())
        found.append(_Zone(row["zone"], lost, target, usual, parts, float(row["unmeasured"])))
    return found


def _vessel(
    zone: _Zone, around: Surroundings, station: Station, eaten: Sequence[tuple[str, Tonnes]]
) -> VesselPart:
    own = Surroundings(
        {zone.name: zone.lost_kg}, around.temp_degc, around.ph_sd, around.level_log_sd
    )
    error = error_of_period(own, station)
    microbes = tuple(amount for section, amount in eaten if section == zone.name)
    by_driver = {name: kg / 1000.0 for name, kg in zone.parts_kg.items()}
    if microbes:
        by_driver[MICROBES] = sum(amount.mid for amount in microbes)
    return VesselPart(
        zone=zone.name,
        lost=lost_tonnes(zone.lost_kg, error, microbes),
        above_usual=above_tonnes(zone.parts_kg, own, error, microbes),
        target_t=zone.target_kg / 1000.0,
        usual_t=zone.usual_kg / 1000.0,
        by_driver=by_driver,
        not_measured_h=zone.not_measured_h,
    )
