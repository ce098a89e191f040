"""Units of tags: as exported, or guessed from the level where an export names none."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from features.base import Quantity
from pipeline.mill import Scale, UnitChange, signal_change
from pipeline.places.look import TagLook

#: Units a tag may come in where the export names none, the usual one first, each with what its
#: being rarer costs (natural logarithm; estimates).
GUESSED: Final[dict[Quantity, tuple[tuple[str, float], ...]]] = {
    "temperature": (("degC", 0.0), ("degF", -1.5)),
    "ph": (("pH", 0.0),),
    "brix": (("%", 0.0),),
    "level": (("%", 0.0),),
    "mud_level": (("%", 0.0),),
    "turbidity": (("NTU", 0.0),),
    "conductivity": (("mS/cm", 0.0), ("uS/cm", -0.5)),
    "steam_pressure": (("kPa", 0.0), ("bar", -0.7), ("psi", -1.0), ("kPa(g)", -1.0),
                       ("bar(g)", -0.7), ("psig", -1.0), ("kgf/cm2", -1.0), ("MPa", -1.5)),
    "flow": (("m3/h", 0.0), ("t/h", -1.5), ("gpm", -2.0), ("L/s", -2.0), ("L/min", -2.5)),
    "imbibition_flow": (("m3/h", 0.0), ("t/h", -1.5), ("gpm", -2.0), ("L/s", -2.0)),
    "lime_flow": (("L/h", 0.0), ("m3/h", -0.5), ("L/min", -1.0), ("gpm", -2.0)),
    "flocculant_flow": (("L/h", 0.0), ("m3/h", -0.7), ("L/min", -1.0), ("gpm", -2.0)),
    "cane_rate": (("t/h", 0.0), ("t/d", -2.5), ("kg/h", -3.0)),
}  # fmt: skip
#: What it costs to take a pressure for a gauge pressure that does not say so.
_GAUGE: Final = -1.0
#: Density of what flows, where a flow comes as mass [kg/m3] (common practice).
_DENSITY: Final = {"flow": 1045.0, "imbibition_flow": 985.0, "lime_flow": 1100.0,
                   "flocculant_flow": 1000.0}  # fmt: skip
MUD_DENSITY_KG_M3: Final = 1090.0
#: Words that stand in the place of a unit and say nothing.
_NO_UNIT: Final = frozenset(("", "-", "--", "n/a", "na", "none", "?", ".", "null", "s/u", "su"))


@dataclass(frozen=True, slots=True)
class OwnUnit:
    """A unit that a tag may have at a quantity, how it changes values, and what the guess costs.

    ``flat`` tells that its level says nothing: a height whose full mark nobody gave.
    """

    unit: str
    change: UnitChange
    cost: float = 0.0
    flat: bool = False


def has_unit(tag: TagLook) -> bool:
    """Tell whether the export gives a unit at all."""
    return tag.unit.strip().casefold() not in _NO_UNIT


@lru_cache(maxsize=4096)
def exported_change(quantity: Quantity, unit: str) -> UnitChange | None:
    """Change of an exported unit to the inside one; mass becomes volume by a usual density."""
    change = signal_change(quantity, unit)
    if change is None and quantity in _DENSITY:
        scale = Scale(quantity, None, unit, _DENSITY[quantity], "a usual density")
        change = scale.found(unit).change
    return change


@lru_cache(maxsize=1024)
def is_height(quantity: Quantity, unit: str) -> bool:
    """Tell whether a level comes as a height, which nothing in an export turns into per cent."""
    if quantity not in ("level", "mud_level") or signal_change(quantity, unit) is not None:
        return False
    return Scale(quantity, None, unit, height_m=1.0).found(unit).change is not None


def is_mass(quantity: Quantity, unit: str) -> bool:
    """Tell whether a flow comes as mass."""
    return signal_change(quantity, unit) is None and exported_change(quantity, unit) is not None


def units_for(tag: TagLook, quantity: Quantity) -> tuple[OwnUnit, ...]:
    """Units that a tag may have if it measures a quantity; none where its own forbids it."""
    if has_unit(tag):
        change = exported_change(quantity, tag.unit)
        if change is not None:
            return (OwnUnit(tag.unit, change), *_as_gauge(quantity, tag.unit))
        if is_height(quantity, tag.unit):
            return (OwnUnit(tag.unit, UnitChange(), 0.0, flat=True),)
        return ()
    found = []
    for unit, cost in GUESSED.get(quantity, ()):
        change = exported_change(quantity, unit)
        if change is not None:
            found.append(OwnUnit(unit, change, cost))
    return tuple(found)


def _as_gauge(quantity: Quantity, unit: str) -> tuple[OwnUnit, ...]:
    """The same pressure as a gauge pressure, where the unit does not say which of the two it is."""
    if quantity != "steam_pressure":
        return ()
    plain, gauge, absolute = (signal_change(quantity, unit + kind) for kind in ("", "(g)", "(a)"))
    if plain is None or gauge is None or absolute is None or plain.offset or not gauge.offset:
        return ()
    return (OwnUnit(f"{unit.strip()}(g)", gauge, _GAUGE),)


def inside_value(tag: TagLook, quantity: Quantity, value: float, unit: str = "") -> float:
    """Value in the inside unit of a quantity; as exported when the unit is unknown.

    Parameters
    ----------
    tag : TagLook
    quantity : str
    value : float
    unit : str
        Unit guessed, where the export names none or leaves something open.
    """
    text = unit or (tag.unit if has_unit(tag) else "")
    change = exported_change(quantity, text) if text else None
    return value if change is None else change.apply(value)
