"""The measuring points a station may have: usual levels, and the words that speak for each.

Levels and words are common practice, their weights estimates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from features.base import Port, Quantity


@dataclass(frozen=True, slots=True)
class Point:
    """A measuring point: what, where, and the level usual there.

    ``share`` levels are relative to the juice flow; widths are standard deviations, of the
    logarithm for shares and for quantities that spread over decades.

    Attributes
    ----------
    own : mapping of str to float
        Weight of each concept of a name that speaks for the point.
    sides : mapping of str to float
        Weight of concepts that part points of one place; they are no contradiction elsewhere.
    """

    quantity: Quantity
    place: str
    port: Port
    level: float
    width: float
    share: bool = False
    rare: float = 0.0
    own: Mapping[str, float] = field(default_factory=dict, hash=False, compare=False)
    sides: Mapping[str, float] = field(default_factory=dict, hash=False, compare=False)

    @property
    def key(self) -> tuple[Quantity, str, str]:
        """What, where and at which side."""
        return (self.quantity, self.place, self.port)


def _weights(text: str) -> dict[str, float]:
    """``"clear 4 juice 0.3"`` as a mapping."""
    parts = text.split()
    return {word: float(weight) for word, weight in zip(parts[::2], parts[1::2], strict=True)}


def _point(
    key: str, level: float, width: float, own: str, sides: str = "", *, share: bool = False,
    rare: float = 0.0,
) -> Point:  # fmt: skip
    quantity, place, *port = key.split()
    return Point(
        quantity, place, port[0] if port else "", level, width, share, rare,  # type: ignore[arg-type]
        _weights(own), _weights(sides),
    )  # fmt: skip


_MIXED: Final = "mixed 4 mixed_tank 3 juice 0.3 mill 1"
_HEATED: Final = "limed 0.5 juice 0.2 mixed 0.5 clear 0.5"
POINTS: Final = (
    _point("flow mixed_juice", 1.0, 0.06, _MIXED + " before_primary 2 primary_heater 0",
           "in 0 out 0", share=True),
    _point("flow settler in", 1.05, 0.06,
           "clarifier 3 limed 3 juice 0.2 liming_tank 2 secondary_heater 1 before_clarifier 4",
           "in 1.5 out -4 top -4 bottom -5", share=True),
    _point("flow clear_juice_tank out", 0.92, 0.07,
           "clear 4 clear_tank 4.5 juice 0.2 clear_heater 2 before_late 3 before_evap 3.5 "
           "clarifier 1 first_evap 0.5 evaporator 0.5",
           "in -1.5 out 1 top 1", share=True),
    _point("flow settler mud", 0.11, 0.4, "mud 4.5 clarifier 0.5", "out 0.5 bottom 0.5 in -1",
           share=True),
    _point("flow filtrate", 0.11, 0.35, "filtrate 4.5 filter 1 juice 0.2", share=True, rare=1.0),
    _point("imbibition_flow mill", 0.28, 0.3, "imbibition 4.5 mill 0.5", share=True),
    _point("lime_flow liming_tank in", 10.0, 0.7, "lime 4.5 liming 0.5 liming_tank 0.5", "in 0.3",
           share=True),
    _point("flocculant_flow settler in", 3.4, 0.6, "flocculant 4.5 clarifier 0.3", "in 0.3",
           share=True),
    _point("cane_rate mill", 0.95, 0.2, "cane 4.5 mill 1.5", share=True),
    _point("temperature mixed_juice", 36.0, 6.0, _MIXED + " before_primary 3", "in 0 out 0"),
    _point("temperature primary_heater out", 70.0, 5.0,
           f"primary_heater 4 heater_1 3 heater 0.5 before_liming 2.5 {_HEATED}", "in -4 out 0.6"),
    _point("temperature liming_tank inside", 70.0, 6.0,
           "liming_tank 4 limed 3 liming 3 lime_tank 2 before_secondary 3 juice 0.2",
           "in -1 out 0"),
    _point("temperature secondary_heater out", 104.3, 2.2,
           f"secondary_heater 4 heater_2 3 heater_3 1.5 heater 0.5 before_flash 2 limed 1 "
           f"before_clarifier 2.5 {_HEATED}", "in -4 out 0.6"),
    _point("temperature flash_tank out", 100.2, 1.0, "flash 4.5 before_clarifier 3 limed 0.3 "
           "juice 0.2", "in -3 out 0.5"),
    _point("temperature settler inside", 97.3, 1.6, "clarifier 3.5 clear 1.5 juice 0.2",
           "in -2.5 out 0.3 top 0.5 bottom -3 mud -4"),
    _point("temperature settler mud", 95.6, 2.2, "mud 4.5 clarifier 1.5", "bottom 1.5 out 0.2",
           rare=0.5),
    _point("temperature clear_juice_tank inside", 95.2, 1.8,
           "clear_tank 4 clear 2.5 juice 0.2 before_clear_heater 2.5 tank 0.3", "in 0 out 0"),
    _point("temperature clear_juice_heater out", 109.5, 3.5,
           f"clear_heater 4 heater_3 1.5 before_evap 2 heater 0.5 {_HEATED}", "in -4 out 0.6"),
    _point("temperature first_evaporator inside", 113.5, 4.0,
           "first_evap 4 evaporator 3 juice 0.2 clear 0 steam -1.5", "in -2 out 0.3"),
    _point("ph mixed_juice", 5.3, 0.25, _MIXED, "in 0 out 0"),
    _point("ph liming_tank out", 7.6, 0.35,
           "liming_tank 4 limed 3.5 liming 3.5 lime 1 lime_tank 3 flash 0.5 secondary_heater 0 "
           "before_clarifier 1.5 juice 0.1", "in -2 out 0.3"),
    _point("ph settler out", 6.95, 0.2, "clear 3.5 clarifier 3.5 clear_tank 2.5 juice 0.1",
           "in -3 out 0.5 top 0.5 bottom -5"),
    _point("brix mixed_juice", 14.5, 2.0, _MIXED, "in 0 out 0"),
    _point("brix first_evaporator out", 22.0, 4.5,
           "first_evap 4 evaporator 2 juice 0.2 clear 0", "out 0.5 in -4"),
    _point("turbidity settler out", 3.4, 0.9, "clear 3 clarifier 3 clear_tank 2 juice 0.1",
           "out 0.3 in -3"),
    _point("conductivity settler out", 1.4, 0.6, "clear 3 clarifier 3 clear_tank 2 juice 0.1",
           "out 0.3 in -3"),
    _point("steam_pressure secondary_heater", 165.0, 45.0,
           "secondary_heater 4 heater_2 3 heater 1 steam 0.3 main_steam -2 juice 0.2",
           "in 0 out -1"),
    _point("level settler", 99.0, 4.0, "clarifier 4", "mud -5 bottom -3", rare=0.5),
    _point("level liming_tank", 68.0, 18.0, "liming_tank 4 limed 3 liming 3 juice 0.1"),
    _point("level clear_juice_tank", 45.0, 22.0, "clear_tank 4 clear 3 juice 0.1 tank 0.2"),
    _point("level first_evaporator", 55.0, 15.0, "first_evap 4 evaporator 3 juice 0.1"),
    _point("mud_level settler mud", 45.0, 22.0, "mud 4.5 clarifier 1.5", "bottom 1", rare=0.5),
)  # fmt: skip
#: Quantities that spread over decades: their levels are logarithms.
LOGARITHMIC: Final = frozenset(("turbidity", "conductivity"))
#: Spread of minutes that a quantity shows in ordinary running at most, 1st to 99th percentile.
CALM: Final[dict[str, float]] = {"brix": 9.0, "ph": 4.0}
#: Range over which a tag of the same quantity from elsewhere in the factory may lie, as
#: the width of an even spread (inside unit; of the logarithm where levels are).
ELSEWHERE: Final[dict[str, float]] = {
    "temperature": 110.0,
    "ph": 9.0,
    "brix": 80.0,
    "turbidity": 7.0,
    "conductivity": 6.0,
    "steam_pressure": 900.0,
    "level": 55.0,
    "mud_level": 55.0,
    "flow": 7.0,
    "imbibition_flow": 7.0,
    "lime_flow": 9.0,
    "flocculant_flow": 9.0,
    "cane_rate": 6.0,
}
POINT_NUMBER: Final = {point.key: number for number, point in enumerate(POINTS)}
#: Concept of a name that says what is measured, for each quantity.
SPOKEN: Final[dict[str, tuple[str, ...]]] = {
    "flow": ("q_flow", "q_rate"),
    "imbibition_flow": ("q_flow",),
    "lime_flow": ("q_flow",),
    "flocculant_flow": ("q_flow",),
    "cane_rate": ("q_rate", "q_flow"),
    "temperature": ("q_temp",),
    "ph": ("q_ph",),
    "brix": ("q_brix",),
    "turbidity": ("q_turb",),
    "conductivity": ("q_cond",),
    "steam_pressure": ("q_press",),
    "level": ("q_level",),
    "mud_level": ("q_level",),
}
