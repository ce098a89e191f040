"""Units of exports, turned into the one unit kept inside for each quantity.

``inside = exported * scale + offset``. Factors are exact by definition (SI Brochure, 9th ed.;
NIST SP 811, appendix B.8) unless a comment says otherwise.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from features.base import Analyte, Basis, Quantity
from pipeline.mill.changes import UnitChange, plain_unit
from pipeline.mill.dimensions import factor
from pipeline.mill.pressures import PRESSURE_KPA, pressure_change
from pipeline.mill.unit_words import factors, plain_text

#: US liquid gallon [L] (exact).
US_GALLON_L: Final = 3.785411784
#: Short ton [t] (exact to the pound's definition).
SHORT_TON_T: Final = 0.90718474


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
_CONDUCTIVITY_MS_CM: Final = {
    "ms/cm": _SAME,
    "us/cm": UnitChange(0.001),
    "s/m": UnitChange(10.0),
    "ms/m": UnitChange(0.01),
}
_TURBIDITY_NTU: Final = {"ntu": _SAME}
#: Colour of a solution by ICUMSA methods; 1 IU is the unit.
_COLOUR_IU: Final = dict.fromkeys(("iu", "icumsa", "icumsaunits", "u.i.", "ui", "uicumsa"), _SAME)
_MASS_SHARE_PCT: Final = _PERCENT | {
    "g/100g": _SAME,
    "%onjuice": _SAME,
    "g/kg": UnitChange(0.1),
    "mg/kg": UnitChange(1e-4),
}
#: What reducing sugars are told on, where the unit says so.
_ON: Final[dict[Basis, tuple[str, ...]]] = {
    "juice": ("%onjuice", "%juice", "g/100gjuice"),
    "solids": (
        *("%onsolids", "%solids", "%onbrix", "%brix", "%onbx", "%bx"),
        *("g/100gbx", "g/100gbrix", "g/100gsolids"),
    ),
    "pol": ("%onpol", "%pol", "g/100gpol"),
}
_SUGARS_PCT: Final = _MASS_SHARE_PCT | {unit: _SAME for units in _ON.values() for unit in units}
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
    "steam_pressure": PRESSURE_KPA,
    "cane_rate": _MASS_RATE_T_H,
    "lime_flow": _SMALL_FLOW_L_H,
    "flocculant_flow": _SMALL_FLOW_L_H,
}
_OF_ANALYTE: Final[dict[str, dict[str, UnitChange]]] = {
    "ph": _PH,
    "brix": _BRIX,
    "pol": _MASS_SHARE_PCT,
    "purity": _PERCENT,
    "rs": _SUGARS_PCT,
    "lactic": _MASS_SHARE_MG_KG,
    "turbidity": _TURBIDITY_NTU,
    "potassium": _MASS_SHARE_MG_KG,
    "chloride": _MASS_SHARE_MG_KG,
    "dextran": _MASS_SHARE_MG_KG,
    "colour": _COLOUR_IU,
    "phosphate": _MASS_SHARE_MG_KG,
}


_SPELLINGS: Final = frozenset(
    unit for table in (*_OF_QUANTITY.values(), *_OF_ANALYTE.values()) for unit in table
)
#: Words of a temperature, without what stands for "degree" in any of five languages.
_DEGREES: Final = re.compile(r"(?:degrees?|degres?|degs?|grados?|graus?|grad|gr|°)\.?\s*")
_SCALES: Final = {
    **dict.fromkeys(("c", "celsius", "celcius", "centigrade", "centigrados", "centigrado"), "degc"),
    **dict.fromkeys(("f", "fahrenheit", "farenheit"), "degf"),
    **dict.fromkeys(("k", "kelvin"), "k"),
}
_PER_CENT: Final = re.compile(
    r"%|pct\.?|per ?cents?|prozent|por ?ciento|por ?cento|pour ?cents?|porcentaje|porcentagem"
    r"|pourcentage|procent|prc"
)
_SHARE: Final = re.compile(r"0 ?(?:\.\.\.?|-|to|a|bis|…) ?1|fraction|fraccion|fracao|anteil|share")
#: Per cent by mass, however it is said.
_BY_MASS: Final = re.compile(
    r"(?:%|wt\.? ?%|mass ?%)\s*\(?(?:(?:w/w|m/m|p/p|g/g|by mass|by weight|mass|masse|massa)\)?)?"
)
_BRIX_WORDS: Final = re.compile(
    r"(?:°|deg(?:ree)?s? ?|grados? ?|graus? ?|grad ?)?(?:brix|bx)(?: ?%)?|% ?(?:brix|bx)"
)
_PH_WORDS: Final = re.compile(
    r"(?:ph)?[ -]?(?:units?|ud\.?|unidad(?:es)?|unidades?|unites?)?(?: ?d?e? ?ph)?|su|s\.u\."
)
_TURBID_WORDS: Final = re.compile(r"ntu|unt|utn")
_SPANS: Final = re.compile(
    r"[a-z]|in|mn|pies?|pol|t[am]g?e?|min\w*|h\w+|s\w+|d[ai]\w+|jours?|raw|days?"
)


@lru_cache(maxsize=4096)
def is_unit(text: str) -> bool:
    """Tell whether a text is a unit of any quantity; ``-`` and ``1`` say nothing and are none."""
    if plain_unit(text) in _SPELLINGS - {"-", "1"}:
        return True
    plain = plain_text(text)
    if plain in ("", "-", "1") or len(plain) > 40:
        return False
    parts = factors(text, "any")
    if parts is not None:
        # A span of time, or a word such as "in" or "m", is no unit of a reading by itself.
        return len(parts) > 1 or parts[0].power != 1 or not _SPANS.fullmatch(plain)
    return any(_of_other_words(plain, kind) is not None for kind in ("temperature", "level", "brix",
             "ph", "turbidity")) or pressure_change(text) is not None  # fmt: skip


@lru_cache(maxsize=4096)
def signal_change(quantity: Quantity, unit: str) -> UnitChange | None:
    """Change to the inside unit of `quantity`, or None when `unit` cannot be its unit.

    The quantity ``other`` is kept as exported. What needs more than the unit (mass where volume
    is kept, heights) is known to ``pipeline.mill.scales``.
    """
    if quantity == "other":
        return _SAME
    found = _OF_QUANTITY[quantity].get(plain_unit(unit))
    if found is not None:
        return found
    if quantity == "steam_pressure":
        pressure = pressure_change(unit)
        return pressure[0] if pressure else None
    kind, scale = _KINDS.get(quantity, ("", 1.0))
    if kind:
        size = factor(unit, kind)
        return None if size is None else UnitChange(size * scale)
    return _of_other_words(plain_text(unit), quantity)


def lab_change(analyte: Analyte, unit: str, basis: Basis = "juice") -> UnitChange | None:
    """Change to the inside unit of `analyte`, or None when `unit` cannot be its unit.

    A unit of reducing sugars that says what they are told on must say `basis`, which is kept.

    Inside units: pH, % (brix, pol, purity, reducing sugars), mg/kg (lactic acid, potassium,
    chloride, dextran, phosphate), NTU, IU (colour).
    """
    table = _OF_ANALYTE[analyte]
    found = table.get(plain_unit(unit))
    if found is not None:
        told = basis_of_unit(unit) if analyte == "rs" else None
        return found if told in (None, basis) else None
    if table in (_MASS_SHARE_PCT, _SUGARS_PCT, _MASS_SHARE_MG_KG):
        if _BY_MASS.fullmatch(plain_text(unit)):
            return table["%"]
        size = factor(unit, "mass_share")
        inside = 1e6 if table is _MASS_SHARE_MG_KG else 100.0
        return None if size is None else UnitChange(round(size * inside, 12))
    return _of_other_words(plain_text(unit), "level" if analyte == "purity" else analyte)


def basis_of_unit(unit: str) -> Basis | None:
    """What a unit of reducing sugars says they are told on; None where it says nothing of it."""
    plain = plain_unit(unit)
    return next((basis for basis, units in _ON.items() if plain in units), None)


#: What quantities are measured in, and how many inside units one of that kind is.
_KINDS: Final = {
    "flow": ("volume_flow", 1.0),
    "imbibition_flow": ("volume_flow", 1.0),
    "lime_flow": ("volume_flow", 1000.0),
    "flocculant_flow": ("volume_flow", 1000.0),
    "cane_rate": ("mass_flow", 0.001),
    "conductivity": ("conductivity", 1.0),
}


def _of_other_words(plain: str, quantity: str) -> UnitChange | None:
    """Change of a unit that is no product of others: degrees, per cent, pH."""
    whole = {
        "brix": (_BRIX_WORDS, _BY_MASS, _PER_CENT),
        "ph": (_PH_WORDS,),
        "turbidity": (_TURBID_WORDS,),
        "level": (_PER_CENT,),
        "mud_level": (_PER_CENT,),
    }
    if quantity == "temperature":
        scale = _SCALES.get(_DEGREES.sub("", plain, count=1).strip(" ."))
        return _TEMPERATURE_DEGC[scale] if scale else None
    if plain and any(words.fullmatch(plain) for words in whole.get(quantity, ())):
        return _SAME
    if quantity in ("level", "mud_level", "brix") and _SHARE.fullmatch(plain):
        return UnitChange(100.0)
    return None


def units_of(what: str) -> tuple[str, ...]:
    """Spellings accepted for a quantity or an analyte, for messages."""
    table = _OF_QUANTITY.get(what) or _OF_ANALYTE.get(what) or {}
    return tuple(table)
