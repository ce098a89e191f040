"""The settling margin in the weekly review: a row a day, and in words what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import polars as pl
from markupsafe import Markup

from features.base import Station
from features.flow import EffectiveResidence, OwnSettling
from features.kinetics import Z90
from pipeline.charts import bar
from pipeline.report.settling import FAST_M_H, SLOW_M_H, by_water_of, settlers_of
from pipeline.report.view import WeekView
from pipeline.words import day_words, figure, known, quantity, said, stored

#: Overflow velocity at half the fastest usual settling rate: full width of a bar [m/h].
_FULL: Final = FAST_M_H / 2
#: Further beyond the loads seen nobody knows what turbidity does [%] (judgement).
_NEAR_PCT: Final = 40.0
#: Flocculant [mg/kg juice], common practice; in modern use from 2.
_USUAL_DOSE, _LEAST_DOSE, _MOST_DOSE = said("3 to 4"), 2.0, 5.0


@dataclass(frozen=True, slots=True)
class SettlingRow:
    """A day of the settler."""

    day: str
    mean: str
    top: str
    bar: Markup
    used: str
    margin: str
    spare: str


@dataclass(frozen=True, slots=True)
class Settling:
    """Rows, what they rest on, what follows from them, and why there are none."""

    rows: tuple[SettlingRow, ...]
    basis: str
    lacking: str
    lines: tuple[str, ...] = ()


def settling(view: WeekView) -> Settling:
    """Settling margin of the days of the week."""
    station = view.report.station
    settlers = settlers_of(station)
    if station is None or not settlers:
        return Settling((), "", said("The description gives no settler with its area (area_m2)."))
    frame = view.settling
    if frame is not None:
        frame = frame.filter(pl.col("day").is_between(view.first, view.last))
    if frame is None or frame.is_empty():
        return Settling((), "", said("No flow, Brix and temperature of the settler in this week."))
    rows = tuple(_row(row, view.last.year) for row in frame.to_dicts())
    lines = (
        *_one_out(frame, len(settlers)),
        *_own(view.own),
        *_crossing(view.crossing),
        *_flocculant(frame, station),
    )
    return Settling(rows, _basis(station, view.own), "", lines)


def _basis(station: Station, own: OwnSettling | None) -> str:
    area = sum(v.area_m2 or 0.0 for v in settlers_of(station))
    rate = station.settling.rate_m_h
    text = said(
        "Flow of clear juice by settling area ({area} m²), against half the initial settling ",
        area=figure(area, "g"),
    )
    if rate is None:
        text += said(
            "rate. No export holds that rate: {slow_m_h} to {fast_m_h} m/h is usual at ",
            slow_m_h=figure(SLOW_M_H, "g"),
            fast_m_h=figure(FAST_M_H, "g"),
        )
        text += said(
            "target Brix and temperature; a batch test (under [settling]) narrows the range. "
        )
    else:
        text += said("rate of {rate} m/h that the description gives. ", rate=figure(rate, "g"))
    if own is None or own.by_water is None:
        text += said(
            "It is put right for the juice of that hour: cooler juice is thicker; "
            "thinner juice settles up to as much sooner as juice with water added (38"
            " instead of 78 min at 10 %, common practice), at least by its viscosity."
        )
    else:
        text += said(
            "It is put right for the juice of that hour through its viscosity, and "
            "for thinner juice as the mill's own turbidity tells."
        )
    return text + said(" Area counts, not depth.")


def _one_out(frame: pl.DataFrame, vessels: int) -> list[str]:
    """What one vessel out of service would do, in the hardest hour of the week."""
    if vessels == 1:
        return [
            said(
                "One settler: with it out of service no juice can be clarified, and the "
                "station stops. Plan for what its juice does meanwhile (lostpol "
                "standing)."
            )
        ]
    hard = frame.row(int(frame["out_high"].arg_max() or 0), named=True)
    low, high = 100 * hard["out_low"], 100 * hard["out_high"]
    word = said("it would be over its limit") if low > 100 else said("it may be over its limit")
    verdict = (
        said(": {word}", word=word) if high > 100 else said(": it would still be within its limit")
    )
    return [
        said(
            "With the largest of {vessels} settlers out of service, the rest would be"
            " used to {low} to {high} % in the week's hardest hour{verdict}.",
            vessels=vessels,
            low=figure(low, ".0f"),
            high=figure(high, ".0f"),
            verdict=verdict,
        )
    ]


def _own(own: OwnSettling | None) -> list[str]:
    if own is None:
        return []
    if own.power is None or own.power_sd is None or own.doubling_pct is None:
        return [
            said(
                "This mill's turbidity tells nothing of the settler's limit: {reason}.",
                reason=stored(own.reason or ""),
            )
        ]
    more, least, most = (
        100.0 * (1.1 ** (own.power + side * own.power_sd) - 1.0) for side in (0.0, -Z90, Z90)
    )
    text = said(
        "By this mill's own turbidity ({hours} h): a tenth more load makes clear "
        "juice {more} more turbid",
        hours=figure(own.hours, ","),
        more=quantity(more, least, most, "%"),
    )
    if own.doubling_pct <= _NEAR_PCT:
        text += said(
            ", and {doubling_pct} % more doubles it", doubling_pct=figure(own.doubling_pct, ".0f")
        )
    if own.by_water is None:
        return [said("{text}. Brix moved too little to tell what thinner juice does.", text=text)]
    low, high = by_water_of(own)
    return [
        said(
            "{text}; thinner juice relieves the settler by {low} to {high} % of what "
            "the same water would do by common practice.",
            text=text,
            low=figure(100 * low, ".0f"),
            high=figure(100 * high, ".0f"),
        )
    ]


def _crossing(found: EffectiveResidence | None) -> list[str]:
    if found is None:
        return []
    if found.volume_m3 is None or found.ratio is None:
        return [
            said(
                "How much of the settler juice passes through is not known: {reason}.",
                reason=stored(found.reason or ""),
            )
        ]
    size = quantity(found.volume_m3, found.low_m3, found.high_m3, "m3")
    return [
        said(
            "By this week's swings of pH, juice passes through {size} of the settler,"
            " {ratio} % of what it holds and of its nominal time; a good deal less "
            "speaks of a short way across it, or of a described volume that is too "
            "large.",
            size=size,
            ratio=figure(100 * found.ratio, ".0f"),
        )
    ]


def _flocculant(frame: pl.DataFrame, station: Station) -> list[str]:
    lines = []
    told = frame["dose_mg_kg"].drop_nulls()
    dose = known(told.mean()) if len(told) else None
    if dose is not None:
        odd = ""
        if not _LEAST_DOSE <= dose <= _MOST_DOSE:
            odd = said(" Check strength, dosing pump and flow.")
        lines.append(
            said(
                "Flocculant: {dose} mg/kg juice in the mean; {usual_dose} is usual, from "
                "{least_dose} in modern use.{odd}",
                dose=figure(dose, ".1f"),
                usual_dose=_USUAL_DOSE,
                least_dose=figure(_LEAST_DOSE, "g"),
                odd=odd,
            )
        )
    elif station.signal("flocculant_flow", "settler") or any(
        s.quantity == "flocculant_flow" for s in station.signals
    ):
        lines.append(
            said(
                "Flocculant: the dose is not known, the description gives no strength of "
                "the solution under [settling]."
            )
        )
    if station.settling.pumped_after:
        lines.append(
            said(
                "The dosed juice is pumped before the settler: pumps tear flocs. "
                "Flocculant belongs close before the settler, behind the last pump."
            )
        )
    return lines


def _row(row: dict[str, Any], year: int) -> SettlingRow:
    low, high = 100 * row["used_low"], 100 * row["used_high"]
    spare = (row["spare_low_m3_h"], row["spare_high_m3_h"])
    return SettlingRow(
        day_words(row["day"], year),
        said("{overflow_m_h} m/h", overflow_m_h=figure(row["overflow_m_h"], ".2f")),
        said("{top_m_h} m/h", top_m_h=figure(row["top_m_h"], ".2f")),
        bar(row["top_m_h"], _FULL),
        said("{low} to {high} %", low=figure(low, ".0f"), high=figure(high, ".0f")),
        said("{high} to {low} %", high=figure(100 - high, ".0f"), low=figure(100 - low, ".0f")),
        said(
            "{spare} to {spare2} m³/h",
            spare=figure(spare[0], ".0f"),
            spare2=figure(spare[1], ".0f"),
        ),
    )
