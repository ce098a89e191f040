"""What a period would have lost otherwise: the record's own tonnes, moved as the physics moves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.advice import Prices
from features.replay import Change, Rerun, station_column, zone_columns
from models.account import Surroundings, Tonnes
from models.base import Array
from models.replay.costs import Cost, costs_of, settles_badly_pct
from models.replay.error import saving_with_interval

#: A loss below this share of the usual one divides badly: the zone's own mean factor stands in.
_LEAST_SHARE = 0.02


@dataclass(frozen=True)
class ZoneSaving:
    """One vessel, or mud of a settler: what it lost, and would have lost [t]."""

    zone: str
    recorded_t: float
    replayed_t: float


@dataclass(frozen=True)
class Saving:
    """Answer of a replay.

    Attributes
    ----------
    recorded_t, replayed_t : float
        Lost in the period, and what the same sucrose would have lost [t].
    saved : Tonnes
        The difference with its 90 % interval.
    by_vessel : tuple of ZoneSaving
    costs : tuple of Cost
    later_t : float
        Saved besides after the period, in juice that was still on its way [t].
    fed_share : float
        Sucrose fed in the replay over that of the record [-].
    followed_h, period_h : float
        Hours of the period that could be followed, on average over the vessels, and in all.
    settles_badly_pct : tuple of float
        Minutes at a limed pH at which juice settles badly, recorded and replayed [%].
    """

    recorded_t: float
    replayed_t: float
    saved: Tonnes
    by_vessel: tuple[ZoneSaving, ...]
    costs: tuple[Cost, ...]
    later_t: float
    fed_share: float
    followed_h: float
    period_h: float
    settles_badly_pct: tuple[float, float]


def saving_of(
    run: Rerun,
    driven: pl.DataFrame,
    changes: Sequence[Change],
    prices: Prices,
    temp_degc: Mapping[str, float] | None = None,
    others_t: float = 0.0,
) -> Saving:
    """Work out what a replay saved.

    Parameters
    ----------
    run : Rerun
    driven : polars.DataFrame
        The record as the search found it, rows of ``models.account.DRIVEN_COLUMNS``; minutes that
        were not searched are left out of both.
    changes : sequence of Change
    prices : Prices
    temp_degc : mapping of str to float, optional
        Mean temperature of each zone [degC], for the interval.
    others_t : float
        Lost by what kinetics do not tell, the same in both [t].

    Returns
    -------
    Saving
        With nothing changed, ``replayed_t`` is ``recorded_t`` to the last digit.

    Notes
    -----
    Each minute of a vessel lost what the search says; replayed it loses as much more or less as the
    followed juice does (multiplier and probes put right cancel). Where juice could not be followed
    the record stands. More or less sucrose fed is counted out: ``replayed_t`` is for the record's.
    """
    lost = _lost_kg_h(driven, run)
    now_in = run.inside[run.source]
    fed = _fed_share(run, now_in)
    was_h = np.where(run.inside, 1.0 / 60.0, 0.0)
    now_h = np.where(now_in, 1.0 / 60.0, 0.0) / fed
    by_vessel, later, followed = _by_vessel(run, lost, (was_h, now_h), now_in)
    recorded = sum(z.recorded_t for z in by_vessel) + others_t
    replayed = sum(z.replayed_t for z in by_vessel) + others_t
    around = _around(driven, by_vessel, temp_degc or {})
    saved_kg = {z.zone: 1000.0 * (z.recorded_t - z.replayed_t) for z in by_vessel}
    return Saving(
        recorded_t=recorded,
        replayed_t=replayed,
        saved=saving_with_interval(saved_kg, around, run.station, changes),
        by_vessel=tuple(by_vessel),
        costs=costs_of(run, (was_h, now_h), prices),
        later_t=later,
        fed_share=fed,
        followed_h=float(np.mean(followed)) if followed else 0.0,
        period_h=float(now_in.sum()) / 60.0,
        settles_badly_pct=settles_badly_pct(run, now_in),
    )


def _by_vessel(
    run: Rerun, lost: Mapping[str, Array], hours: tuple[Array, Array], now_in: NDArray[np.bool_]
) -> tuple[list[ZoneSaving], float, list[float]]:
    """What each vessel lost and would have lost, what was saved later [t], and hours followed."""
    behind_was, behind_now = _behind(run.inside), _behind(now_in)
    before, after = (zone_columns(d, "loss_kg_h") for d in (run.recorded, run.replayed))
    by_vessel, later, followed = [], 0.0, []
    for zone, kg_h in lost.items():
        again, known = _again(kg_h, before.get(zone), after.get(zone), run.source)
        was, now = np.nan_to_num(kg_h), np.nan_to_num(again)
        sums = (float(np.sum(was * hours[0])), float(np.sum(now * hours[1])))
        by_vessel.append(ZoneSaving(zone, sums[0] / 1000.0, sums[1] / 1000.0))
        later += float(np.sum(was[behind_was]) - np.sum(now[behind_now])) / 60_000.0
        followed.append(float(np.sum(known[now_in])) / 60.0)
    return by_vessel, later, followed


def _lost_kg_h(driven: pl.DataFrame, run: Rerun) -> dict[str, Array]:
    """Loss of each zone on the rows of the record [kg/h]; NaN where nothing was searched."""
    minutes = run.recorded.station_minutes["ts_utc"]
    start: datetime = minutes[0]
    n = len(minutes)
    found: dict[str, Array] = {}
    for part in driven.partition_by("zone", maintain_order=True):
        rows = (part["ts_utc"] - start).dt.total_minutes().to_numpy()
        here = (rows >= 0) & (rows < n)
        values = np.full(n, np.nan)
        values[rows[here]] = part["lost_kg_h"].cast(pl.Float64).to_numpy()[here]
        found[str(part["zone"][0])] = values
    return found


def _again(
    kg_h: Array, before: Array | None, after: Array | None, source: NDArray[np.intp]
) -> tuple[Array, NDArray[np.bool_]]:
    """Loss of a zone on the rows of the replay, and where it could be followed."""
    recorded = kg_h[source]
    if before is None or after is None:
        return recorded, np.zeros(recorded.shape, dtype=bool)
    was = before[source]
    known = np.isfinite(recorded) & np.isfinite(was) & np.isfinite(after)
    usual = float(np.nanmedian(before)) if np.isfinite(before).any() else 0.0
    sound = known & (was > _LEAST_SHARE * usual)
    factor = np.where(sound, np.where(sound, after, 1.0) / np.where(sound, was, 1.0), 1.0)
    # Nothing was held there: what the kinetics are off by is read off the other minutes.
    whole = np.isfinite(kg_h) & np.isfinite(before) & (before > 0.0)
    level = float(kg_h[whole].sum() / before[whole].sum()) if whole.any() else 1.0
    bare = known & ~sound & (after != was)
    return np.where(bare, recorded + level * (after - was), recorded * factor), known


def _behind(inside: NDArray[np.bool_]) -> slice:
    """Rows after a period."""
    rows = np.flatnonzero(inside)
    return slice(int(rows[-1]) + 1 if rows.size else inside.size, inside.size)


def _fed_share(run: Rerun, now_in: NDArray[np.bool_]) -> float:
    """Sucrose fed in the replay over that of the record, 1 where either is not known."""
    was = float(np.nansum(station_column(run.recorded, "sucrose_feed_kg_h")[run.inside]))
    now = float(np.nansum(station_column(run.replayed, "sucrose_feed_kg_h")[now_in]))
    return now / was if was > 0.0 and now > 0.0 and abs(now / was - 1.0) > 1e-6 else 1.0


def _around(
    driven: pl.DataFrame, by_vessel: Sequence[ZoneSaving], temp_degc: Mapping[str, float]
) -> Surroundings:
    def mean(column: str) -> float:
        value = driven[column].cast(pl.Float64).mean()
        return float(value) if isinstance(value, float) else 0.0

    lost = {z.zone: 1000.0 * z.recorded_t for z in by_vessel}
    return Surroundings(lost, temp_degc, mean("ph_sd"), mean("level_log_sd"))
