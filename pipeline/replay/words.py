"""How a change is said."""

from __future__ import annotations

from features.advice import USUAL_PH
from features.replay import FILTRATE_TO, Change
from pipeline.replay.levers import Levers
from pipeline.words import figure, place_within, said, unit_words


def change_words(change: Change) -> str:
    """A change in words, such as ``temperature in the settler 2 °C lower``."""
    name = _NAMES[change.what]
    place = place_within(change.place) if change.place else ""
    what = said("{what} in {place_within}", what=name, place_within=place) if place else name
    if change.what == "in_service":
        held = said("{place} in service", place=place)
        return held if change.amount else said("{place} out of service", place=place)
    if change.what == "filtrate_to":
        return said(
            "filtrate returned to {filtrate_to} juice", filtrate_to=FILTRATE_TO[int(change.amount)]
        )
    # Of a level the points are meant, not a share of it.
    unit = {"pH": "", "%": said(" points") if change.how == "by" else " %"}.get(
        change.unit, said(" {unit_words}", unit_words=unit_words(change.unit))
    )
    if change.how == "by":
        return said(
            "{what} {amount}{unit} {way}",
            what=what,
            amount=figure(abs(change.amount), "g"),
            unit=unit,
            way=_way(change.amount),
        )
    if change.how == "factor":
        return said(
            "{what} {amount} % {way}",
            what=what,
            amount=figure(abs(change.amount), "g"),
            way=_way(change.amount),
        )
    held = {
        "to": said("at"),
        "at_most": said("at no more than"),
        "at_least": said("at no less than"),
    }[change.how]
    return said(
        "{what} {held} {amount}{unit}",
        what=what,
        held=held,
        amount=figure(change.amount, "g"),
        unit=unit,
    )


def ph_words(found: Levers) -> str:
    """Range of limed-juice pH to run at; empty where it is not known."""
    ph = found.ph
    if ph is None:
        return ""
    where = said("pH {low} to {high}", low=figure(ph.low, ".2f"), high=figure(ph.high, ".2f"))
    now = said("now {now} in the middle of its hours", now=figure(ph.now, ".2f"))
    if ph.best is None:
        return said(
            "Limed juice: {where} ({now}); no step within pH {usual_ph} to "
            "{usual_ph2}, where juice settles well, is sure to cost less.",
            where=where,
            now=now,
            usual_ph=figure(USUAL_PH[0], "g"),
            usual_ph2=figure(USUAL_PH[1], "g"),
        )
    return said(
        "Limed juice: {where} would have cost least of what settles well ({now}):"
        " sucrose, lime and destroyed sugars counted. Scale has no price here and"
        " speaks for the lower end.",
        where=where,
        now=now,
    )


def _way(amount: float) -> str:
    return said("higher") if amount >= 0.0 else said("lower")


_NAMES = {
    "ph_limed": said("limed-juice pH"),
    "ph_limed_target": said("target of limed-juice pH"),
    "flow": said("throughput"),
    "imbibition": said("imbibition"),
    "stop_h": said("length of the stop"),
    "filtrate_to": said("filtrate"),
    "temp_degc": said("temperature"),
    "level_pct": said("level"),
    "mud_level_pct": said("mud level"),
    "in_service": said("service"),
}
