"""Moments in UTC of the rows of a batch; rows without one are refused, and counted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Protocol

import polars as pl

from pipeline.cells import latest_moment, local_to_utc, moments
from pipeline.exports.passes import ADDED, NAIVE, PASS, STATED
from pipeline.lake import Tally
from pipeline.layouts import Plan, moments_by_zone
from pipeline.mill import UnitChange, offset_s

#: Place of a row in its batch, and the zone it gives, carried along until the row is a reading. No
#: column of an export is called so: names are stripped of blanks.
ROW: Final = " row"
ZONE: Final = " zone"


class MillClock(Protocol):
    """What reading needs to know of a mill.

    A mill that also has a method ``change_from(tag, unit)`` (``readers_units.KnowsUnits``) lets
    units that stand in the export overrule the described ones.
    """

    @property
    def zone(self) -> str:
        """IANA zone of local times."""

    @property
    def ambiguous(self) -> str:
        """Meaning of a local time that occurs twice: first, second or refuse."""

    @property
    def missing(self) -> str:
        """Fate of a local time that is skipped: shift_forward or refuse."""

    @property
    def unit_changes(self) -> Mapping[str, UnitChange]:
        """Every tag and lab series of the mill, with its change of unit."""


def with_moments(
    frame: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally, weight: int = 1
) -> pl.DataFrame:
    """Replace ``time`` by ``ts_utc``, refusing rows without a moment (`weight` readings each)."""
    if NAIVE in frame.columns:
        naive, stated = frame[NAIVE], frame[STATED]
    else:
        naive, stated = moments(frame["time"], plan.time_formats, given=plan.formats_given)
    moment, zone = stated, plan.time_zone or clock.zone
    if plan.zone is not None:
        rules = (clock.ambiguous, clock.missing)
        local_utc = moments_by_zone(naive, frame[ZONE], plan.zone, clock.zone, rules)
        return _timed(frame, naive, stated.zip_with(stated.is_not_null(), local_utc), tally, weight)
    if naive.null_count() < len(naive):
        which = frame[PASS] if PASS in frame.columns else None
        both = pl.DataFrame({"naive": naive, "stated": stated})
        local = local_to_utc(pl.col("naive"), zone, clock.ambiguous, clock.missing, which)
        moment = both.select(pl.coalesce(local, "stated")).to_series()
    timed = frame.drop("time", *ADDED, strict=False).with_columns(moment.alias("ts_utc"))
    timed = _not_ahead(timed, tally, weight)
    if not moment.null_count():
        return timed
    either = pl.col("naive").dt.replace_time_zone(
        zone if offset_s(zone) is None else "UTC", ambiguous="earliest", non_existent="null"
    )
    unreadable, repeated = pl.col("naive").is_null(), either.is_not_null()
    unknown = pl.DataFrame({ROW: frame[ROW], "naive": naive}).filter(moment.is_null())
    for reason, rows in (
        ("time_unreadable", unreadable),
        ("local_time_repeated", repeated),
        ("local_time_skipped", ~unreadable & ~repeated),
    ):
        found = unknown.filter(rows)[ROW]
        if len(found):
            tally.refuse(reason, found, weight=weight, unreadable=reason == "time_unreadable")
    return timed.filter(pl.col("ts_utc").is_not_null())


def _timed(
    frame: pl.DataFrame, naive: pl.Series, moment: pl.Series, tally: Tally, weight: int
) -> pl.DataFrame:
    """Rows with their moments; those without a time or a known zone are refused."""
    timed = frame.drop("time", ZONE, *ADDED, strict=False).with_columns(moment.alias("ts_utc"))
    timed = _not_ahead(timed, tally, weight)
    unknown = pl.DataFrame({ROW: frame[ROW], "naive": naive}).filter(moment.is_null())
    timeless = pl.col("naive").is_null()
    for reason, rows in (("time_unreadable", timeless), ("zone_unreadable", ~timeless)):
        found = unknown.filter(rows)[ROW]
        if len(found):
            tally.refuse(reason, found, weight=weight, unreadable=True)
    return timed.filter(pl.col("ts_utc").is_not_null())


def _not_ahead(timed: pl.DataFrame, tally: Tally, weight: int) -> pl.DataFrame:
    """Refuse readings of days to come: one wrong year would period the season by years."""
    ahead = (pl.col("ts_utc") > latest_moment()).fill_null(value=False)
    found = timed.filter(ahead)
    if found.is_empty():
        return timed
    tally.refuse("in_the_future", found[ROW], weight=weight)
    return timed.filter(~ahead)
