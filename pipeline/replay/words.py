"""How a change is said."""

from __future__ import annotations

from features.advice import USUAL_PH
from features.replay import FILTRATE_TO, Change
from pipeline.replay.levers import Levers
from pipeline.words import clean, unit_words


def change_words(change: Change) -> str:
    """A change in words, such as ``settler temperature 2 °C lower``."""
    name = _NAMES[change.what]
    place = clean(change.place, 60).replace("_", " ")
    what = f"{place} {name}" if place else name
    if change.what == "in_service":
        return f"{place} {'in' if change.amount else 'out of'} service"
    if change.what == "filtrate_to":
        return f"filtrate returned to {FILTRATE_TO[int(change.amount)]} juice"
    # Of a level the points are meant, not a share of it.
    unit = {"pH": "", "%": " points" if change.how == "by" else " %"}.get(
        change.unit, f" {unit_words(change.unit)}"
    )
    if change.how == "by":
        return f"{what} {abs(change.amount):g}{unit} {_way(change.amount)}"
    if change.how == "factor":
        return f"{what} {abs(change.amount):g} % {_way(change.amount)}"
    held = {"to": "at", "at_most": "at no more than", "at_least": "at no less than"}[change.how]
    return f"{what} {held} {change.amount:g}{unit}"


def ph_words(found: Levers) -> str:
    """Range of limed-juice pH to run at; empty where it is not known."""
    ph = found.ph
    if ph is None:
        return ""
    where = f"pH {ph.low:.2f} to {ph.high:.2f}"
    now = f"now {ph.now:.2f} in the middle of its hours"
    if ph.best is None:
        return (
            f"Limed juice: {where} ({now}); no step within pH {USUAL_PH[0]:g} to {USUAL_PH[1]:g}, "
            "where juice settles well, is sure to cost less."
        )
    return (
        f"Limed juice: {where} would have cost least of what settles well ({now}): sucrose, lime "
        "and destroyed sugars counted. Scale has no price here and speaks for the lower end."
    )


def _way(amount: float) -> str:
    return "higher" if amount >= 0.0 else "lower"


_NAMES = {
    "ph_limed": "limed-juice pH",
    "ph_limed_target": "target of limed-juice pH",
    "flow": "throughput",
    "imbibition": "imbibition",
    "stop_h": "length of the stop",
    "filtrate_to": "filtrate",
    "temp_degc": "temperature",
    "level_pct": "level",
    "mud_level_pct": "mud level",
    "in_service": "service",
}
