"""Factors between units and what they measure, worked out by a general library of units.

The library is loaded only when an export or a description has a unit that the short tables of
``pipeline.mill.units`` do not know: loading it takes longer than all else that a short command
does. Fractions keep the factors exact.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from pipeline.mill.unit_words import factors

if TYPE_CHECKING:
    from pint import UnitRegistry

#: Unit inside, as the library writes it, of what is measured.
INSIDE: Final = {
    "volume_flow": "meter ** 3 / hour",
    "mass_flow": "kilogram / hour",
    "pressure": "kilopascal",
    "length": "meter",
    "conductivity": "millisiemens / centimeter",
    "mass_share": "kilogram / kilogram",
}


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[Any]:
    import pint  # noqa: PLC0415 (see the top of the module)

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)


@lru_cache(maxsize=4096)
def factor(text: str, kind: str) -> float | None:
    """How many inside units of `kind` one unit is; None for a unit of something else, or for none.

    Parameters
    ----------
    text : str
        Unit as written.
    kind : str
        A key of `INSIDE`.
    """
    parts = factors(text, kind)
    if parts is None:
        return None
    if kind == "mass_share" and not all(_weighs(part.unit) for part in parts):
        return None
    registry = _registry()
    value = Fraction(1) * registry.dimensionless
    for part in parts:
        one = Fraction(part.times) * registry.parse_expression(part.unit)
        value = value * one**part.power
    inside = registry.parse_units(INSIDE[kind])
    if value.dimensionality != inside.dimensionality:
        return None
    return float(value.to(inside).magnitude)


@lru_cache(maxsize=1024)
def ratio(text: str, other: str) -> float | None:
    """How many of the `other` unit one unit is, both as written; None for two kinds of things."""
    ours, theirs = factors(text, "any"), factors(other, "any")
    if ours is None or theirs is None:
        return None
    registry = _registry()
    value = Fraction(1) * registry.dimensionless
    for parts, sign in ((ours, 1), (theirs, -1)):
        for part in parts:
            one = Fraction(part.times) * registry.parse_expression(part.unit)
            value = value * one ** (sign * part.power)
    return float(value.to("").magnitude) if value.dimensionless else None


def _weighs(unit: str) -> bool:
    return unit in ("gram", "kilogram", "milligram", "microgram", "tonne")
