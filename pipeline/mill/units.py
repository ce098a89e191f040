"""Units of exports, turned into the one unit kept inside for each quantity.

``inside = exported * scale + offset``. Factors are exact by definition (SI Brochure, 9th ed.;
NIST SP 811, appendix B.8) unless a comment says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from features.base import Analyte, Quantity

#: Standard atmosphere [kPa], added to gauge pressures (SI Brochure: 101 325 Pa exactly).
STANDARD_ATMOSPHERE_KPA: Final = 101.325
#: Pound-force per square inch [kPa] (NIST SP 811).
PSI_KPA: Final = 6.894757
#: Technical atmosphere, kilogram-force per square centimetre [kPa] (exact).
KGF_CM2_KPA: Final = 98.0665
#: US liquid gallon [L] (exact).
US_GALLON_L: Final = 3.785411784
#: Short ton [t] (exact to the pound's definition).
SHORT_TON_T: Final = 0.90718474


@dataclass(frozen=True, slots=True)
class UnitChange:
    """How an exported value becomes an inside value: ``value * scale + offset``."""

    scale: float = 1.0
    offset: float = 0.0

    def apply(self, value: float) -> float:
        """Inside value of one exported `value`."""
        return value * self.scale + self.offset


_SAME: Final = UnitChange()
_VOLUME_FLOW_M3_H: Final[dict[str, UnitChange]] = {
    "m3/h": _SAME,
    "m3h-1": _SAME,
    "m3/hr": _SAME,
    "m3/s": UnitChange(3600.0),
    "m3/min": UnitChange(60.0),
    "m3/d": UnitChange(1 / 24),
    "l/s": UnitChange(3.6),
    "l/min": UnitChange(0.06),
    "l/h": UnitChange(0.001),
    "gpm": UnitChange(US_GALLON_L * 0.06),
    "usgpm": UnitChange(US_GALLON_L * 0.06),
}
_SMALL_FLOW_L_H: Final = {
    unit: UnitChange(change.scale * 1000.0) for unit, change in _VOLUME_FLOW_M3_H.items()
} | {"ml/min": UnitChange(0.06)}
_TEMPERATURE_DEGC: Final = {
    **dict.fromkeys(("degc", "c", "celsius"), _SAME),
    **dict.fromkeys(("k", "kelvin"), UnitChange(1.0, -273.15)),
    **dict.fromkeys(("degf", "f", "fahrenheit"), UnitChange(5 / 9, -160 / 9)),
}
_PERCENT: Final = {
    **dict.fromkeys(("%", "pct", "percent"), _SAME),
    **dict.fromkeys(("fraction", "-", "1"), UnitChange(100.0)),
}
_BRIX: Final = _PERCENT | dict.fromkeys(("bx", "degbx", "brix", "degbrix", "g/100g"), _SAME)
_PH: Final = dict.fromkeys(("ph", "-", "1"), _SAME)
_MASS_RATE_T_H: Final = {
    **dict.fromkeys(("t/h", "th-1", "t/hr", "tch"), _SAME),
    "kg/h": UnitChange(0.001),
    "kg/s": UnitChange(3.6),
    "t/d": UnitChange(1 / 24),
    "shortton/h": UnitChange(SHORT_TON_T),
}
_PRESSURE_KPA: Final = {
    **dict.fromkeys(("kpa", "kpaa", "kpa(a)", "kpaabs"), _SAME),
    **dict.fromkeys(("kpag", "kpa(g)"), UnitChange(1.0, STANDARD_ATMOSPHERE_KPA)),
    **dict.fromkeys(("bar", "bara", "bar(a)"), UnitChange(100.0)),
    **dict.fromkeys(("barg", "bar(g)"), UnitChange(100.0, STANDARD_ATMOSPHERE_KPA)),
    "mpa": UnitChange(1000.0),
    "pa": UnitChange(0.001),
    **dict.fromkeys(("psi", "psia"), UnitChange(PSI_KPA)),
    "psig": UnitChange(PSI_KPA, STANDARD_ATMOSPHERE_KPA),
    "kgf/cm2": UnitChange(KGF_CM2_KPA),
    "kg/cm2": UnitChange(KGF_CM2_KPA),
}
_CONDUCTIVITY_MS_CM: Final = {
    "ms/cm": _SAME,
    "us/cm": UnitChange(0.001),
    "s/m": UnitChange(10.0),
    "ms/m": UnitChange(0.01),
}
_TURBIDITY_NTU: Final = {"ntu": _SAME}
_MASS_SHARE_PCT: Final = _PERCENT | {
    "g/100g": _SAME,
    "%onjuice": _SAME,
    "g/kg": UnitChange(0.1),
    "mg/kg": UnitChange(1e-4),
}
_MASS_SHARE_MG_KG: Final = {
    **dict.fromkeys(("mg/kg", "ppm"), _SAME),
    "g/kg": UnitChange(1000.0),
    "%": UnitChange(1e4),
}

_OF_QUANTITY: Final[dict[str, dict[str, UnitChange]]] = {
    "flow": _VOLUME_FLOW_M3_H,
    "imbibition_flow": _VOLUME_FLOW_M3_H,
    "temperature": _TEMPERATURE_DEGC,
    "ph": _PH,
    "level": _PERCENT,
    "mud_level": _PERCENT,
    "brix": _BRIX,
    "turbidity": _TURBIDITY_NTU,
    "conductivity": _CONDUCTIVITY_MS_CM,
    "steam_pressure": _PRESSURE_KPA,
    "cane_rate": _MASS_RATE_T_H,
    "lime_flow": _SMALL_FLOW_L_H,
    "flocculant_flow": _SMALL_FLOW_L_H,
}
_OF_ANALYTE: Final[dict[str, dict[str, UnitChange]]] = {
    "ph": _PH,
    "brix": _BRIX,
    "pol": _MASS_SHARE_PCT,
    "purity": _PERCENT,
    "rs": _MASS_SHARE_PCT,
    "lactic": _MASS_SHARE_MG_KG,
    "turbidity": _TURBIDITY_NTU,
    "potassium": _MASS_SHARE_MG_KG,
    "chloride": _MASS_SHARE_MG_KG,
}


def plain_unit(unit: str) -> str:
    """Spelling used for look-up: lower case, no blanks, no superscripts or degree signs."""
    text = unit.strip().casefold()
    for old, new in (("³", "3"), ("²", "2"), ("°", "deg"), ("µ", "u"), ("μ", "u"), ("^", "")):
        text = text.replace(old, new)
    return "".join(text.split())


_SPELLINGS: Final = frozenset(
    unit for table in (*_OF_QUANTITY.values(), *_OF_ANALYTE.values()) for unit in table
)


def is_unit(text: str) -> bool:
    """Tell whether a text is a unit of any quantity; ``-`` and ``1`` say nothing and are none."""
    return plain_unit(text) in _SPELLINGS - {"-", "1"}


def signal_change(quantity: Quantity, unit: str) -> UnitChange | None:
    """Change to the inside unit of `quantity`, or None when `unit` cannot be its unit.

    The quantity ``other`` is kept as exported.
    """
    if quantity == "other":
        return _SAME
    return _OF_QUANTITY[quantity].get(plain_unit(unit))


def lab_change(analyte: Analyte, unit: str) -> UnitChange | None:
    """Change to the inside unit of `analyte`, or None when `unit` cannot be its unit.

    Inside units: pH, % (brix, pol, purity, reducing sugars), mg/kg (lactic acid, potassium,
    chloride), NTU.
    """
    return _OF_ANALYTE[analyte].get(plain_unit(unit))


def units_of(what: str) -> tuple[str, ...]:
    """Spellings accepted for a quantity or an analyte, for messages."""
    table = _OF_QUANTITY.get(what) or _OF_ANALYTE.get(what) or {}
    return tuple(table)
