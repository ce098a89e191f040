"""What a report cannot know at this mill, said plainly: a thin description must not look whole."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from features.base import Station, composites, grabs
from models.worth import coverage_of
from pipeline.report import Gap
from pipeline.words import (
    NEEDS,
    OF_LABORATORY,
    UNCALIBRATED,
    channel_words,
    duration_words,
    joined,
    listed,
    said,
    section_words,
    span_words,
)

_MINUTE: Final = timedelta(minutes=1)
_NAMED: Final = 3
#: What a tag need not tell; but from nothing follows nothing, where the second is missing too.
_INFERRED: Final = {"filtrate": "", "mud_level": "mud"}


def gaps_of_coverage(
    station: Station,
    lab: pl.DataFrame,
    losses: pl.DataFrame,
    zone: str = "UTC",
    left_out: pl.DataFrame | None = None,
    *,
    level_told: bool = False,
    lacking: Sequence[tuple[str, int]] = (),
) -> tuple[Gap, ...]:
    """List what rests on targets, what no analysis checks, and what was not measured.

    Parameters
    ----------
    station : Station
    lab : polars.DataFrame
        Laboratory results of the period.
    losses : polars.DataFrame
        Minutes judged, in order: ts_utc, measured.
    zone : str
        The plant's time zone, for the hours that are named.
    left_out : polars.DataFrame, optional
        Results of the period that could not be brought to juice (``features.base.left_out``).
    level_told : bool
        The report says already that the level rests on the description.
    lacking : sequence of (str, int)
        Tags that lacked, and for how many minutes, longest first.
    """
    return (
        *_on_targets(station),
        *_unchecked(lab, level_told=level_told),
        *_without_basis(station, left_out),
        *_unmeasured(losses, ZoneInfo(zone), lacking),
    )


def gaps_of_chance(station: Station, channels: pl.DataFrame) -> tuple[Gap, ...]:
    """List the kinds of loss that chance makes nobody knows how often, each with its place.

    Parameters
    ----------
    station : Station
    channels : polars.DataFrame
        As ``pipeline.stages.uncalibrated_channels`` gives them.
    """
    kinds = {vessel.name: str(vessel.kind) for vessel in station.vessels}
    return tuple(
        Gap(
            said(
                "How often chance alone makes a loss by {channel_words} ({section_words})",
                channel_words=channel_words(row["channel"]),
                section_words=section_words(row["section"], kinds),
            ),
            joined("", (UNCALIBRATED[row["kind"]], ".")),
        )
        for row in channels.to_dicts()
    )


def _on_targets(station: Station) -> list[Gap]:
    absent = coverage_of(station).missing
    inferred = [name for name in _INFERRED if name in absent and _INFERRED[name] not in absent]
    costs = joined("; ", (joined(": ", NEEDS[name]) for name in inferred))
    gaps = [Gap(said("Not measured"), joined("", (costs, ".")))]
    missing = [NEEDS[n][0] for n in absent if n not in OF_LABORATORY and n not in _INFERRED]
    if not missing:
        return gaps if inferred else []
    text = said(
        "no tag measures it, so its target stands in and no fault of it can show: {listed}",
        listed=listed(missing),
    )
    return [
        Gap(said("Faults that only a target vouches for"), text + "."),
        *(gaps if inferred else []),
    ]


def _unchecked(lab: pl.DataFrame, *, level_told: bool) -> list[Gap]:
    seen, mixed = set(grabs(lab)["analyte"]), set(composites(lab)["analyte"])
    # A sample gathered over hours is none of the moment at which a probe or a tank stood wrong.
    only_mixed = said(" (composite samples do not tell it)")
    gaps = []
    if "ph" not in seen:
        why = said(
            "no laboratory pH in this period{only_mixed}: a probe that drifts cannot "
            "be told from the juice.",
            only_mixed=only_mixed * ("ph" in mixed),
        )
        gaps.append(Gap(said("Truth of the pH probes"), why))
    if not level_told and "rs" not in seen | mixed:
        why = said(
            "no reducing sugars by the laboratory in this period: the level of the "
            "loss rests on earlier results or on the description, and its interval is"
            " wide."
        )
        gaps.append(Gap(said("Level of the loss"), why))
    if "lactic" not in seen:
        why = said(
            "no lactic acid by the laboratory in this period{only_mixed}: it shows by"
            " lime and pol alone, less surely.",
            only_mixed=only_mixed * ("lactic" in mixed),
        )
        gaps.append(Gap(said("Loss to microbes"), why))
    return gaps


def _without_basis(station: Station, left_out: pl.DataFrame | None) -> list[Gap]:
    if left_out is None or left_out.is_empty():
        return []
    kinds = {v.name: v.kind for v in station.vessels}
    counts = left_out.group_by("place", "basis").len().sort("place", "basis")
    told = [
        said(
            "{count} results of {section_words}, told on {basis}, have no {said} of "
            "the same point near in time",
            count=count,
            section_words=section_words(place, kinds),
            basis=basis,
            said=said("Brix") if basis == "solids" else said("pol"),
        )
        for place, basis, count in counts.iter_rows()
    ]
    why = said(
        "{listed}; what share of the juice they are is unknown, so they are left "
        "out. Have both analysed in one sample, and export both.",
        listed=listed(told),
    )
    return [Gap(said("Reducing sugars that could not be used"), why)]


def _unmeasured(
    losses: pl.DataFrame, zone: ZoneInfo, lacking: Sequence[tuple[str, int]]
) -> list[Gap]:
    if losses.is_empty() or "measured" not in losses.columns:
        return []
    share = losses["measured"].not_().sum() / losses.height
    if share < 0.01:
        return []
    runs = (
        losses.with_columns(run=pl.col("measured").rle_id())
        .filter(~pl.col("measured"))
        .group_by("run")
        .agg(start=pl.col("ts_utc").min(), end=pl.col("ts_utc").max(), minutes=pl.len())
        .sort("minutes", "start", descending=[True, False])
    )
    longest = runs.row(0, named=True)
    span = span_words(longest["start"], longest["end"] + _MINUTE, zone)
    phrase = said("all of them") if runs.height == 1 else said("the longest stretch")
    missing = duration_words(timedelta(minutes=int(runs["minutes"].sum())))
    why = said(
        "in {missing} of this report a reading behind the loss is missing, of that minute or of "
        "the juice on its way, {phrase} {span}{longest}. There the mill's usual value stands in: "
        "a fault of what was not read cannot show.",
        missing=missing,
        phrase=phrase,
        span=span,
        longest=_longest(lacking),
    )
    return [Gap(said("Minutes without all readings"), why)]


def _longest(lacking: Sequence[tuple[str, int]]) -> str:
    """Name the tags that lacked longest, each with how long."""
    if not lacking:
        return ""
    named = joined(
        ", ",
        (
            said("{tag} ({lasted})", tag=tag, lasted=duration_words(timedelta(minutes=minutes)))
            for tag, minutes in lacking[:_NAMED]
        ),
    )
    if len(lacking) > _NAMED:
        named = said("{named} and {more} more", named=named, more=len(lacking) - _NAMED)
    return said("; missing longest, all minutes added up: {named}", named=named)
