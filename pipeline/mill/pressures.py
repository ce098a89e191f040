"""Pressures, gauge and absolute: they are different units, 101 kPa apart.

Factors are exact by definition (SI Brochure, 9th ed.; NIST SP 811, appendix B.8).
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, Literal

from pipeline.mill.changes import UnitChange, plain_unit
from pipeline.mill.dimensions import factor
from pipeline.mill.unit_words import plain_text

#: Standard atmosphere [kPa], added to gauge pressures (SI Brochure: 101 325 Pa exactly).
STANDARD_ATMOSPHERE_KPA: Final = 101.325
#: Pound-force per square inch [kPa] (NIST SP 811).
PSI_KPA: Final = 6.894757
#: Technical atmosphere, kilogram-force per square centimetre [kPa] (exact).
KGF_CM2_KPA: Final = 98.0665

_SAME: Final = UnitChange()
PRESSURE_KPA: Final = {
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
_GAUGE: Final = re.compile(
    r"(?P<unit>.*?)[\s._-]*[\[({]?\s*(?:"
    r"(?P<gauge>g|ga|gauge|gage|man|manom|manometric[ao]?|manometrique|rel|relativ[aeo]?|relative"
    r"|uberdruck|u|eff|efectiva)"
    r"|(?P<absolute>a|abs|absolut[aeo]?|absolue?)"
    r")\.?\s*[\])}]?"
)


@lru_cache(maxsize=1024)
def pressure_change(
    unit: str, air_kpa: float = STANDARD_ATMOSPHERE_KPA
) -> tuple[UnitChange, Literal["gauge", "absolute", ""]] | None:
    """Change of a pressure to kPa absolute, and which of the two kinds the unit says it is.

    Parameters
    ----------
    unit : str
    air_kpa : float
        Pressure of the air at the mill [kPa], added to gauge pressures.
    """
    plain = plain_text(unit)
    for text, basis in _pressure_readings(plain):
        spelled = plain_unit(text)
        known = PRESSURE_KPA.get(spelled)
        size = known.scale if known is not None and not known.offset else None
        size = factor(text, "pressure") if size is None and spelled else size
        if size is not None:
            return UnitChange(size, air_kpa if basis == "gauge" else 0.0), basis
    return None


def _pressure_readings(
    plain: str,
) -> list[tuple[str, Literal["gauge", "absolute", ""]]]:
    """The text as a plain unit, then as one with a word for its kind behind it."""
    found: list[tuple[str, Literal["gauge", "absolute", ""]]] = []
    if (
        not plain.endswith(("a", "(a)", "abs"))
        or plain.endswith(("kpa", "mpa", "hpa"))
        or plain == "pa"
    ):
        found.append((plain, ""))
    split = _GAUGE.fullmatch(plain)
    if split and split["unit"]:
        found.append((split["unit"], "gauge" if split["gauge"] else "absolute"))
    return [*found, (plain, "")]
