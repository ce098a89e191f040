"""Laboratory series among the tags of an export, known by their names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from features.base import Analyte, Basis, Port
from pipeline.describe.look import TagLook
from pipeline.describe.names import ANALYTE_WORDS, SAMPLE_WORDS, parts_of
from pipeline.mill import basis_of_unit, lab_change

#: Readings further apart than this are no instrument's [s].
_BY_HAND_S: Final = 1800.0


@dataclass(frozen=True, slots=True)
class LabKind:
    """Usual unit, range and standard error of an analyte (common practice)."""

    unit: str
    low: float
    high: float
    error: str


KINDS: Final[dict[Analyte, LabKind]] = {
    "ph": LabKind("pH", 3.5, 12.0, "sd = 0.06"),
    "brix": LabKind("%", 3.0, 40.0, "sd = 0.1"),
    "pol": LabKind("%", 2.0, 35.0, "sd = 0.1"),
    "purity": LabKind("%", 50.0, 100.0, "sd = 0.5"),
    "rs": LabKind("%", 0.0, 5.0, "rel_sd = 0.03"),
    "lactic": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.08"),
    "turbidity": LabKind("NTU", 0.0, 2000.0, "rel_sd = 0.1"),
    "potassium": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.05"),
    "chloride": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.05"),
}


@dataclass(frozen=True, slots=True)
class LabGuess:
    """A laboratory series; analyte and place are None where the name does not say.

    Attributes
    ----------
    tag : TagLook
    analyte, place : str or None
    port : str
    basis : {"juice", "solids", "pol"}
        What reducing sugars are a share of.
    period_h : float
        Hours over which a composite was gathered; 0 for a grab.
    why : str
        What says so.
    """

    tag: TagLook
    analyte: Analyte | None
    place: str | None
    port: Port
    basis: Basis = "juice"
    period_h: float = 0.0
    why: str = ""


def is_lab(tag: TagLook) -> bool:
    """Tell whether a person made these results: they come seldom, or say so."""
    return tag.every_s >= _BY_HAND_S or "lab" in parts_of(tag.name).words


def guess_lab(tags: list[TagLook]) -> list[LabGuess]:
    """Analyte and sampling point of each series, none claimed twice."""
    claimed: set[tuple[Analyte, str]] = set()
    found = []
    for tag in tags:
        words = parts_of(tag.name).words
        analyte = next((a for a in KINDS if words & ANALYTE_WORDS[a]), None)
        spot = next((s for s, known in SAMPLE_WORDS.items() if words & known), None)
        basis = (basis_of_unit(tag.unit) if analyte == "rs" else None) or "juice"
        fits = analyte is not None and (
            not tag.unit or lab_change(analyte, tag.unit, basis) is not None
        )
        if analyte is None or spot is None or not fits or (analyte, spot[0]) in claimed:
            found.append(LabGuess(tag, None, None, ""))
            continue
        claimed.add((analyte, spot[0]))
        place, port = spot
        found.append(LabGuess(tag, analyte, place, "out" if port else "", basis))
    return found
