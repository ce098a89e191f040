"""Units that these mills export, from the unit of the simulator.

Factors: NIST SP 811, appendix B.8 (ft = 0.3048 m exactly; US gallon 3.785411784 L; psi
6.894757 kPa; bar 100 kPa; kgf/cm2 98.0665 kPa; atmosphere 101.325 kPa). None is taken from the
package that is judged.
"""

from __future__ import annotations

#: exported = inside * scale + offset, digits kept.
_FT3_M3 = 0.3048**3
_FORMS: dict[str, tuple[float, float, int]] = {
    "same": (1.0, 0.0, 2),
    "m3/h": (1.0, 0.0, 1),
    "L/s": (1 / 3.6, 0.0, 2),
    "L/min": (1000 / 60, 0.0, 2),
    "L/h": (1000.0, 0.0, 0),
    "gpm": (1000 / 60 / 3.785411784, 0.0, 1),
    "ft3/min": (1 / (60 * _FT3_M3), 0.0, 1),
    "degC": (1.0, 0.0, 2),
    "degF": (1.8, 32.0, 1),
    "%": (1.0, 0.0, 2),
    "m of 6": (0.06, 0.0, 3),
    "t/h": (1.0, 0.0, 1),
    "kPa": (1.0, 0.0, 1),
    "kPag": (1.0, -101.325, 1),
    "bar": (0.01, 0.0, 3),
    "barg": (0.01, -1.01325, 3),
    "kgf/cm2g": (1 / 98.0665, -101.325 / 98.0665, 3),
    "psig": (1 / 6.894757, -101.325 / 6.894757, 2),
    "mS/cm": (1.0, 0.0, 2),
    "uS/cm": (1000.0, 0.0, 0),
    "NTU": (1.0, 0.0, 1),
    "pH": (1.0, 0.0, 3),
}
#: A spelling as a plant writes it: the form above. What is not here is written as it is.
_SPELLINGS = {
    "m³/h": "m3/h", "m3/hr": "m3/h", "M3/H": "m3/h", "l/s": "L/s", "lps": "L/s", "l/h": "L/h",
    "lph": "L/h", "LPH": "L/h", "l/min": "L/min", "GPM": "gpm", "cfm": "ft3/min",
    "°C": "degC", "ºC": "degC", "grados C": "degC", "Deg C": "degC", "DEGC": "degC",
    "°F": "degF", "Deg F": "degF", "pct": "%", "m": "m of 6", "t/hr": "t/h", "TCH": "t/h",
    "kPa g": "kPag", "kPa(g)": "kPag", "kPa abs": "kPa", "kPaa": "kPa", "bar g": "barg",
    "bar(g)": "barg", "bar abs": "bar", "kgf/cm²": "kgf/cm2g", "psi g": "psig", "mS/cm": "mS/cm",
    "µS/cm": "uS/cm", "uS/cm": "uS/cm", "ntu": "NTU", "UNT": "NTU", "°Bx": "%", "Brix": "%",
    "°Brix": "%", "Bx": "%", "ph": "pH", "-": "pH", "upH": "pH",
}  # fmt: skip
#: One spelling that a description may use in place of the plant's.
_MEANINGS = {"m of 6": "m", "kgf/cm2g": "kgf/cm2 g", "same": ""}


def form(unit: str) -> tuple[float, float, int]:
    """Scale, offset and digits of a unit as the plant spells it."""
    return _FORMS.get(_SPELLINGS.get(unit, unit), _FORMS["same"])


def is_known(unit: str) -> bool:
    """Whether a spelling is one of a unit with a factor."""
    return _SPELLINGS.get(unit, unit) in _FORMS


def meaning(unit: str) -> str:
    """What a plant's spelling means, written so that it cannot be mistaken."""
    known = _SPELLINGS.get(unit, unit)
    return _MEANINGS.get(known, known) if known in _FORMS else unit
