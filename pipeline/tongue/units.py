"""Units that a reader may want instead of the tool's own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.words import Figure, Said, figure, said

#: Exact: 2,000 lb of 0.45359237 kg (NIST Handbook 44, appendix C; memory).
TONNE_IN_SHORT_TONS: Final = 1000.0 / (2000.0 * 0.45359237)
_DEGREES: Final = re.compile(r"\{(\w+)\} (?:degC|°C)")


@dataclass(frozen=True, slots=True)
class Units:
    """Units of a reader: temperatures in ``degC`` or ``degF``, masses in ``t`` or ``short ton``."""

    temperature: Literal["degC", "degF"] = "degC"
    mass: Literal["t", "short ton"] = "t"

    def inside(self, message: str, words: str, values: dict[str, object]) -> str:
        """Turn temperatures that stand in a sentence; gives its words with the other unit."""
        if self.temperature == "degC":
            return words
        for found in _DEGREES.finditer(message):
            name, held = found[1], values.get(found[1])
            if isinstance(held, Said) and isinstance(held.made, Figure):
                decimals = len(held.partition(".")[2])
                values[name] = figure(_degf(float(held.replace(",", ""))), f".{decimals}f")
                words = re.sub(rf"(\{{{name}\}}[  ])(?:degC|°C)", r"\1°F", words)
        return words


def converted(
    values: tuple[object, object, object], unit: str, units: Units
) -> tuple[tuple[object, object, object], str]:
    """Turn a value with its bounds into the units of a reader."""
    if unit == "degC" and units.temperature == "degF":
        return _each(values, _degf), "°F"
    if unit == "K" and units.temperature == "degF":
        return _each(values, lambda kelvin: kelvin * 1.8), "°F"
    if unit == "t" and units.mass == "short ton":
        return _each(values, lambda t: t * TONNE_IN_SHORT_TONS), said("short tons")
    if unit == "1/t" and units.mass == "short ton":
        return _each(values, lambda price: price / TONNE_IN_SHORT_TONS), "1/short ton"
    return values, unit


def _degf(degc: float) -> float:
    return degc * 1.8 + 32.0


def _each(values: tuple[object, object, object], turn: object) -> tuple[object, object, object]:
    one, low, high = (
        turn(float(v)) if isinstance(v, int | float) else v  # type: ignore[operator]
        for v in values
    )
    return one, low, high
