"""What a report cannot know at this mill, said plainly: a thin description must not look whole."""

from __future__ import annotations

from datetime import timedelta
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from features.base import Port, Quantity, Station, composites, grabs
from pipeline.report import Gap
from pipeline.words import section_words, span_words

_MINUTE: Final = timedelta(minutes=1)

#: What the station must measure for a statement not to rest on targets: kind of vessel, quantity,
#: ports, and what rests on targets without it.
_WANTED: Final[tuple[tuple[str, Quantity, tuple[Port, ...], str], ...]] = (
    ("liming_tank", "ph", (), "the pH of limed juice"),
    ("settler", "ph", (), "the pH of clear juice"),
    ("settler", "temperature", ("inside", "out", ""), "the temperature of the settler"),
    ("settler", "level", ("inside", "out", ""), "how full the settler is, also in a stop"),
    ("settler", "mud_level", (), "how much mud is held"),
    ("clear_juice_tank", "level", (), "how full the clear-juice tank is"),
    ("clear_juice_tank", "temperature", (), "the temperature of the clear-juice tank"),
    ("clear_juice_heater", "temperature", (), "the temperature of the clear-juice heater"),
    ("evaporator_vessel", "temperature", (), "the temperature of the first evaporator vessel"),
)


def gaps_of_coverage(
    station: Station,
    lab: pl.DataFrame,
    losses: pl.DataFrame,
    zone: str = "UTC",
    left_out: pl.DataFrame | None = None,
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
    """
    return (
        *_on_targets(station),
        *_unchecked(lab),
        *_without_basis(station, left_out),
        *_unmeasured(losses, ZoneInfo(zone)),
    )


def _on_targets(station: Station) -> list[Gap]:
    missing = [
        words
        for kind, quantity, ports, words in _WANTED
        if any(
            not _measured(station, v.name, quantity, ports)
            for v in station.vessels
            if v.kind == kind
        )
    ]
    if not any(s.quantity == "flow" and s.place != "filtrate" for s in station.signals):
        missing.insert(0, "the juice flow, and with it every residence time")
    if not missing:
        return []
    text = (
        f"no tag measures it, so its target stands in and no fault of it can show: {_and(missing)}"
    )
    return [Gap("Faults that only a target vouches for", text + ".")]


def _measured(station: Station, place: str, quantity: Quantity, ports: tuple[Port, ...]) -> bool:
    return any(
        s.place == place and s.quantity == quantity and (not ports or s.port in ports)
        for s in station.signals
    )


def _unchecked(lab: pl.DataFrame) -> list[Gap]:
    seen, mixed = set(grabs(lab)["analyte"]), set(composites(lab)["analyte"])
    # A sample gathered over hours is none of the moment at which a probe or a tank stood wrong.
    only_mixed = " (composite samples do not tell it)"
    gaps = []
    if "ph" not in seen:
        why = (
            f"no laboratory pH in this period{only_mixed * ('ph' in mixed)}: a probe that drifts "
            "cannot be told from the juice."
        )
        gaps.append(Gap("Truth of the pH probes", why))
    if not (seen | mixed) & {"rs", "potassium", "chloride"}:
        why = (
            "no reducing sugars by the laboratory in this period: the level of the loss rests on "
            "earlier results or on the description, and its interval is wide."
        )
        gaps.append(Gap("Level of the loss", why))
    if "lactic" not in seen:
        why = f"no lactic acid by the laboratory in this period{only_mixed * ('lactic' in mixed)}."
        gaps.append(Gap("Loss to microbes", why))
    return gaps


def _without_basis(station: Station, left_out: pl.DataFrame | None) -> list[Gap]:
    if left_out is None or left_out.is_empty():
        return []
    kinds = {v.name: v.kind for v in station.vessels}
    counts = left_out.group_by("place", "basis").len().sort("place", "basis")
    told = [
        f"{count} results of {section_words(place, kinds)}, told on {basis}, have no "
        f"{'Brix' if basis == 'solids' else 'pol'} of the same point near in time"
        for place, basis, count in counts.iter_rows()
    ]
    why = (
        f"{_and(told)}; what share of the juice they are is unknown, so they are left out. Have "
        "both analysed in one sample, and export both."
    )
    return [Gap("Reducing sugars that could not be used", why)]


def _unmeasured(losses: pl.DataFrame, zone: ZoneInfo) -> list[Gap]:
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
    phrase = "all of them" if runs.height == 1 else "the longest stretch"
    why = (
        f"{100 * share:.0f} % of the minutes of this report lack a reading, {phrase} {span}; there "
        "the mill's usual value stands in, so a fault of what was not read cannot show."
    )
    return [Gap("Minutes without all readings", why)]


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
