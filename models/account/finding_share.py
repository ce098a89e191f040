"""How much of a finding's tonnes fell into a period, minute by minute as they were counted.

Shares of adjoining periods add up to the finding, and its own period holds all of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from models.account.account import CHANNEL_DRIVERS, lost_kg, part_kg
from models.account.driven import STANDING
from models.detect import OLD_JUICE_MIN

Bounds = tuple[datetime, datetime]

#: Rates read back may differ by so much from those of the account; more, and the account is of
#: another search.
_SAME = 0.01
_LEAST_KG_H = 0.05
#: Channels in which the juice of a stop does not count until it has left.
_NOT_OLD = ("drop", "throughput")


def share_kg(
    account: Mapping[str, Any], own: Bounds, period: Bounds, driven: pl.DataFrame
) -> tuple[float, bool]:
    """Part of a finding's loss that lies in a period.

    Parameters
    ----------
    account : mapping
        Account of the finding (`models.account.account`).
    own : tuple of datetime
        Hours of the finding; end excluded.
    period : tuple of datetime
        Whole minutes, end excluded.
    driven : polars.DataFrame
        Rows of ``DRIVEN_COLUMNS`` over the finding and some hours before it.

    Returns
    -------
    kg : float
    by_minute : bool
        False where no minutes could be read back (microbes, damage, another search): time is then
        shared evenly.

    Raises
    ------
    KeyError, TypeError, ValueError
        If the account is damaged.
    """
    if account["kind"] == "microbial":
        return lost_kg(account) * _of_time(own, period), False
    here, exact = _sum(account, (max(own[0], period[0]), min(own[1], period[1])), driven)
    whole, _ = _sum(account, own, driven)
    # A part that was taken up may reach beyond the finding's hours; its tonnes are all in them.
    return (lost_kg(account) * here / whole if whole else 0.0), exact


def _sum(account: Mapping[str, Any], period: Bounds, driven: pl.DataFrame) -> tuple[float, bool]:
    """Loss of all parts in a period [kg], and whether minutes told all of it."""
    total, exact = 0.0, True
    for part in account["parts"]:
        rates = _rates(part, driven)
        bounds = tuple(datetime.fromisoformat(part[name]) for name in ("started", "ended"))
        if rates is None:
            total += part_kg(part) * _of_time((bounds[0], bounds[1]), period)
            exact = False
            continue
        inside = rates.filter(_within(period))["kg_h"]
        # Minutes without a reading count at the mean of the others, as in the account.
        weight_h = part["hours"] / rates.height
        total += (float(inside.sum()) - part["baseline_kg_h"] * len(inside)) * weight_h
    return total, exact


def _rates(part: Mapping[str, Any], driven: pl.DataFrame) -> pl.DataFrame | None:
    """Rate of a part in each minute that it counts; None where it does not fit the account."""
    drivers = CHANNEL_DRIVERS[part["channel"]]
    if driven.is_empty():
        return None
    counted = _counted(part, driven)
    zones = part["zones"]
    rows = driven.join(counted, on="ts_utc", how="semi")
    for chosen in _choices(zones, drivers):
        rates = (
            rows.group_by("ts_utc", maintain_order=True)
            .agg(kg_h=pl.sum_horizontal(chosen).sum())
            .sort("ts_utc")
        )
        if rates.is_empty():
            return None
        off = float(part["channel_kg_h"]) - float(rates["kg_h"].mean())  # type: ignore[arg-type]
        if abs(off) <= max(_SAME * abs(part["channel_kg_h"]), _LEAST_KG_H):
            return rates.with_columns(pl.col("kg_h") + off)
    return None


def _choices(zones: list[str], drivers: tuple[str, ...]) -> list[list[pl.Expr]]:
    """Ways in which a channel may be put together: a tank may answer for what is behind it."""
    here = pl.col("zone").is_in(zones)
    if not drivers:
        over = pl.col("lost_kg_h").cast(pl.Float64) - pl.col("target_kg_h").cast(pl.Float64)
        return [[pl.when(here).then(over).fill_null(0.0)]]
    names = drivers
    own = [pl.when(here).then(pl.col(n).cast(pl.Float64)).fill_null(0.0) for n in names]
    behind = [pl.col("held").cast(pl.Float64).fill_null(0.0)]
    return [own, [e for e, n in zip(own, names, strict=True) if n != "held"] + behind]


def _counted(part: Mapping[str, Any], driven: pl.DataFrame) -> pl.DataFrame:
    """Minutes that count in a part: inside it, running or standing as its channel is, measured."""
    started, ended = (datetime.fromisoformat(part[name]) for name in ("started", "ended"))
    # Where several drivers make one channel, the first is the one it was measured by.
    drivers = CHANNEL_DRIVERS[part["channel"]][:1]
    by_minute = (
        driven.group_by("ts_utc", maintain_order=True)
        .agg(
            stands=pl.col(STANDING).is_not_null().any(),
            known=pl.all_horizontal(
                pl.col("zone").is_in(part["zones"]),
                *(pl.col(driver).is_not_null() for driver in drivers),
            ).any(),
        )
        .sort("ts_utc")
    )
    if part["channel"] == "standing":
        kept = by_minute.filter(pl.col("stands"))
    else:
        held = OLD_JUICE_MIN if part["channel"] in _NOT_OLD else 0
        stands = by_minute["stands"].to_numpy()
        counts = np.concatenate([[0], np.cumsum(stands)])
        n = np.arange(len(stands))
        recent = counts[n + 1] - counts[np.maximum(n - held, 0)] > 0
        kept = by_minute.filter(pl.Series(~recent) & pl.col("known"))
    return kept.filter(_within((started, ended))).select("ts_utc")


def _within(bounds: Bounds) -> pl.Expr:
    return (pl.col("ts_utc") >= bounds[0]) & (pl.col("ts_utc") < bounds[1])


def _of_time(own: Bounds, period: Bounds) -> float:
    both = min(own[1], period[1]) - max(own[0], period[0])
    return max(both, timedelta(0)) / max(own[1] - own[0], timedelta(minutes=1))
