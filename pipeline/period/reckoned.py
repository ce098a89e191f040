"""The account of a period, from what the search keeps in the lake and lists in the store.

Nothing is worked out here that a night works out: only sums over the minutes asked for. So it is
there at once, and also while a night runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import polars as pl

from models.account import PeriodAccount, Tonnes, Touching, account_of_period, lost_kg, share_kg
from pipeline.base import DataError, Window, midnight
from pipeline.lake import DRIVEN, STATION, ZONES, Lake, lake_of
from pipeline.mill import Mill
from pipeline.store import published_store_of
from pipeline.words import joined, moment_words, parsed_evidence, said, span_words

#: Juice of a stop is told apart for some hours behind it (`models.account.finding_share`).
_BEFORE: Final = timedelta(hours=6)


@dataclass(frozen=True)
class Reckoned:
    """Account of a period, and how much of the period it holds.

    Attributes
    ----------
    account : PeriodAccount
    window : Window
        As asked for.
    unknown_h : float
        Hours of it that nothing is known of.
    """

    account: PeriodAccount
    window: Window
    unknown_h: float


def reckon(mill: Mill, window: Window) -> Reckoned:
    """Work out the account of a period.

    Parameters
    ----------
    mill : Mill
    window : Window

    Raises
    ------
    DataError
        Nothing of the period was worked out and searched.
    """
    lake = lake_of(mill)
    rows = published_store_of(mill).findings().to_dicts()
    touching = [r for r in rows if r["started"] < window.end and r["ended"] > window.start]
    first = min([window.start, *(r["started"] for r in touching)]) - _BEFORE
    last = max([window.end, *(r["ended"] for r in touching)])
    driven = _driven(mill, lake, window, Window(first, last))
    account = account_of_period(
        driven,
        (window.start, window.end),
        mill.station,
        fed_kg=_fed_kg(lake, window),
        temp_degc=_temperatures(lake, window),
        findings=[part for row in touching if (part := _touching(row, window, driven))],
    )
    whole_h = (window.end - window.start) / timedelta(hours=1)
    return Reckoned(account, window, max(whole_h - account.known_h, 0.0))


def _driven(mill: Mill, lake: Lake, window: Window, wider: Window) -> pl.DataFrame:
    """Minutes by vessel and driver around a period; at least one must lie in it."""
    frame = lake.read_features(DRIVEN, *wider.days)
    inside = pl.col("ts_utc").is_between(window.start, window.end, closed="left")
    if not frame.is_empty() and frame.filter(inside).height:
        between = pl.col("ts_utc").is_between(wider.start, wider.end, closed="left")
        return frame.filter(between)
    where = said(
        "{span_words}, plant time", span_words=span_words(window.start, window.end, mill.tz)
    )
    raise DataError(
        said("Nothing of this period was worked out."), where, _cure(mill, lake, window)
    )


def _cure(mill: Mill, lake: Lake, window: Window) -> str:
    """What to do where a period is not in the lake: pull, work out, or ask for another."""
    known, searched = lake.feature_days(STATION), lake.feature_days(DRIVEN)
    first, last = window.days
    if not known:
        return said("Pull exports with lostpol pull, then run lostpol backfill.")
    if any(first <= day <= last for day in known) and not any(
        first <= day <= last for day in searched
    ):
        day = mill.local_day(window.start)
        return said(
            "Run lostpol backfill {config_path} --from {day}: these days are not searched.",
            config_path=mill.config_path,
            day=day,
        )
    if not searched:
        return said(
            "Run lostpol backfill {config_path}: nothing is searched yet.",
            config_path=mill.config_path,
        )
    edges = [
        lake.read_features(DRIVEN, day, day, ("ts_utc",))["ts_utc"]
        for day in (searched[0], searched[-1])
    ]
    words = [
        moment_words(moment, mill.tz)
        for moment in (edges[0].min(), edges[1].max())
        if isinstance(moment, datetime)
    ]
    return said(
        "What is worked out reaches from {words}: ask for hours in there, such as "
        '--from "{day} 02:00" --to 06:00.',
        words=joined(" to ", words),
        day=str(mill.last_day_over(midnight(searched[-1], 1))),
    )


def _fed_kg(lake: Lake, window: Window) -> float:
    frame = lake.read_features(STATION, *window.days, ("ts_utc", "sucrose_feed_kg_h"))
    inside = pl.col("ts_utc").is_between(window.start, window.end, closed="left")
    return 0.0 if frame.is_empty() else float(frame.filter(inside)["sucrose_feed_kg_h"].sum()) / 60


def _temperatures(lake: Lake, window: Window) -> Mapping[str, float]:
    """Mean temperature of each zone, where it was measured [degC]."""
    frame = lake.read_features(ZONES, *window.days, ("ts_utc", "zone", "temp_degc"))
    if frame.is_empty():
        return {}
    inside = pl.col("ts_utc").is_between(window.start, window.end, closed="left")
    means = frame.filter(inside).group_by("zone").agg(pl.col("temp_degc").mean()).drop_nulls()
    return dict(means.rows())


def _touching(row: dict[str, Any], window: Window, driven: pl.DataFrame) -> Touching | None:
    """How much of a finding lies in the period; None where nothing is known of its tonnes."""
    lost, low, high = (row[name] for name in ("lost_t", "lost_t_low", "lost_t_high"))
    if lost is None:
        return None
    own = (row["started"], row["ended"])
    whole = Tonnes(lost, lost if low is None else low, lost if high is None else high)
    share, by_minute = _share(row, own, (window.start, window.end), driven)
    return Touching(
        finding_id=str(row["finding_id"]),
        cause=str(row["cause"]),
        section=str(row["section"]),
        started=own[0],
        ended=own[1],
        lost_t=lost,
        here=whole.scaled(share),
        by_minute=by_minute,
    )


def _share(
    row: dict[str, Any], own: tuple[Any, Any], period: tuple[Any, Any], driven: pl.DataFrame
) -> tuple[float, bool]:
    """Share of a finding's tonnes in a period, and whether its minutes told it."""
    account = parsed_evidence(row["evidence"]).get("account") or {}
    try:
        here, by_minute = share_kg(account, own, period, driven)
        whole = lost_kg(account)
        return (here / whole if whole else 0.0), by_minute
    except (KeyError, TypeError, ValueError, OverflowError):
        both = min(own[1], period[1]) - max(own[0], period[0])
        return max(both, timedelta(0)) / max(own[1] - own[0], timedelta(minutes=1)), False
