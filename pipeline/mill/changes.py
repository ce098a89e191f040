"""How an exported number becomes the number kept inside, and how units are looked up."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class UnitChange:
    """How an exported value becomes an inside value: ``value * scale + offset``."""

    scale: float = 1.0
    offset: float = 0.0

    def apply(self, value: float) -> float:
        """Inside value of one exported `value`."""
        return value * self.scale + self.offset


def plain_unit(unit: str) -> str:
    """Spelling used for look-up: lower case, no blanks, no superscripts or degree signs."""
    text = unit.strip().casefold()
    for old, new in (("³", "3"), ("²", "2"), ("°", "deg"), ("µ", "u"), ("μ", "u"), ("^", "")):
        text = text.replace(old, new)
    return "".join(text.split())
