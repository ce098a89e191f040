"""Vessels and targets of a drafted description.

Exports know no volumes: those here are the juice flow times a residence that is common practice,
and each is marked CONFIRM.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from features.base import Quantity
from pipeline.describe.guess import Guess, inside_value
from pipeline.describe.lab import LabGuess


@dataclass(frozen=True, slots=True)
class VesselKindly:
    """A vessel as it usually is: residence at full level [min], target level [%], temperature."""

    name: str
    kind: str
    residence_min: float
    level_pct: float
    temp_degc: float
    thermometer: tuple[str, ...]


_VESSELS: Final = (
    VesselKindly("primary_heater", "heater", 1.0, 100.0, 72.0, ("out",)),
    VesselKindly("liming_tank", "liming_tank", 20.0, 70.0, 75.0, ("inside",)),
    VesselKindly("secondary_heater", "heater", 1.0, 100.0, 103.0, ("out",)),
    VesselKindly("flash_tank", "flash_tank", 1.5, 100.0, 100.3, ("out",)),
    VesselKindly("settler", "settler", 75.0, 100.0, 97.0, ("inside",)),
    VesselKindly("clear_juice_tank", "clear_juice_tank", 40.0, 40.0, 95.0, ("inside",)),
    VesselKindly("clear_juice_heater", "clear_juice_heater", 1.0, 100.0, 110.0, ("out",)),
    VesselKindly("first_evaporator", "evaporator_vessel", 6.0, 60.0, 113.0, ("inside",)),
)
#: Overflow rate of a settler [m/h], share of its volume that is mud zone, and mud per juice.
_OVERFLOW_M_H: Final = 2.8
_MUD_SHARE: Final = 0.4
_MUD_FLOW_SHARE: Final = 0.1
_PH_LIMED, _PH_CLEAR = 7.5, 6.95


def _level(guesses: Sequence[Guess], quantity: Quantity, place: str, port: str) -> float | None:
    """Usual level of a point [inside unit], or None where no tag was guessed there."""
    for guess in guesses:
        point = guess.point
        if point and (point.quantity, point.place, point.port) == (quantity, place, port):
            return inside_value(guess.tag, quantity, guess.tag.middle)
    return None


def _feed(guesses: Sequence[Guess]) -> float | None:
    spots = (("mixed_juice", ""), ("settler", "in"), ("clear_juice_tank", "out"))
    found = (_level(guesses, "flow", *spot) for spot in spots)
    return next((flow for flow in found if flow is not None and flow > 0.0), None)


def target_lines(guesses: Sequence[Guess]) -> list[str]:
    """Targets: the usual levels of the tags that measure them; nothing without a juice flow."""
    feed = _feed(guesses)
    if feed is None:
        return [
            "# No juice flow was recognised; without it no loss can be worked out: no train here."
        ]
    lines = ["# Usual levels of the exports, taken for targets: CONFIRM each.", "[targets]"]
    lines.append(f"flow_feed_m3_h = {feed:.1f}")
    for key, place, usual in (
        ("ph_limed", "liming_tank", _PH_LIMED),
        ("ph_clear", "settler", _PH_CLEAR),
    ):
        level = _level(guesses, "ph", place, "out")
        lines.append(f"{key} = {usual if level is None else round(level, 2)}")
    brix = _level(guesses, "brix", "mixed_juice", "")
    return lines + ([f"brix_pct = {brix:.1f}"] if brix is not None and 0.0 < brix < 80.0 else [])


def train_lines(guesses: Sequence[Guess], lab: Sequence[LabGuess]) -> list[str]:
    """Vessels at which a tag or a lab series was placed, in flow order."""
    feed = _feed(guesses)
    if feed is None:
        return []
    places = {g.point.place for g in guesses if g.point} | {g.place for g in lab}
    lines = [
        "# The train, in flow order, as far as the tags show it. Every volume is a guess from the",
        "# juice flow and a usual residence (common practice): CONFIRM each from drawings.",
    ]
    for vessel in _VESSELS:
        if vessel.name in places:
            lines += ["", *_vessel(vessel, guesses, feed)]
    return lines


def _vessel(vessel: VesselKindly, guesses: Sequence[Guess], feed: float) -> list[str]:
    volume = feed * vessel.residence_min / 60.0
    temps = (_level(guesses, "temperature", vessel.name, port) for port in vessel.thermometer)
    temp = next((t for t in temps if t is not None and 0.0 <= t <= 150.0), vessel.temp_degc)
    lines = [
        "[[train]]",
        f'name = "{vessel.name}"',
        f'kind = "{vessel.kind}"',
        f"volume_m3 = {volume:.1f}  # CONFIRM: {vessel.residence_min:g} min of juice flow",
        "volume_rel_sd = 0.3  # CONFIRM: of a volume from drawings, 0.1",
        f"temp_degc = {temp:.1f}",
    ]
    level = _level(guesses, "level", vessel.name, "")
    level = vessel.level_pct if level is None or not 1.0 <= level <= 100.0 else level
    lines.append(f"level_pct = {level:.0f}")
    if vessel.kind == "settler":
        lines += _settler(guesses, feed, volume)
    if vessel.kind == "evaporator_vessel":
        brix = _level(guesses, "brix", vessel.name, "out")
        lines.append(f"brix_pct = {20.0 if brix is None or not 0.0 < brix < 80.0 else brix:.1f}")
    return lines


def _settler(guesses: Sequence[Guess], feed: float, volume: float) -> list[str]:
    level = _level(guesses, "mud_level", "settler", "mud")
    flow = _level(guesses, "flow", "settler", "mud")
    known = level is not None and 1.0 <= level <= 100.0
    return [
        f"area_m2 = {feed / _OVERFLOW_M_H:.0f}.0  # CONFIRM",
        "tanks = 3",
        f"mud_volume_m3 = {_MUD_SHARE * volume:.1f}  # CONFIRM",
        f"mud_level_pct = {level if known else 45.0:.0f}",
        f"mud_flow_m3_h = {_MUD_FLOW_SHARE * feed if flow is None or flow <= 0.0 else flow:.1f}",
    ]
