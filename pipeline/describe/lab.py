"""Laboratory series among the series of exports: analysis, sampling point, basis, composite."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

import numpy as np

from features.base import Analyte, Basis, Port
from pipeline.intake import (
    LIMED,
    SamplingPoint,
    analyte_of,
    basis_of,
    point_of,
    says_composite,
    spaced,
)
from pipeline.mill import lab_change
from pipeline.places import TagLook

#: Readings further apart than this are no instrument's [s].
_BY_HAND_S: Final = 1800.0
_BOOK_S: Final = 600.0
#: A composite comes at most this often [s].
_COMPOSITE_S: Final = 6.0 * 3600.0
_DAY_S: Final = 86400.0
#: Days over which a description lets a composite be gathered.
_MOST_DAYS: Final = 31


@dataclass(frozen=True, slots=True)
class LabKind:
    """Usual unit, range and standard error of an analyte (common practice)."""

    unit: str
    low: float
    high: float
    error: str


KINDS: Final[dict[Analyte, LabKind]] = {
    "ph": LabKind("pH", 3.5, 12.0, "sd = 0.06"),
    "brix": LabKind("%", 3.0, 80.0, "sd = 0.1"),
    "pol": LabKind("%", 0.2, 75.0, "sd = 0.1"),
    "purity": LabKind("%", 50.0, 100.0, "sd = 0.5"),
    "rs": LabKind("%", 0.0, 10.0, "rel_sd = 0.03"),
    "lactic": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.08"),
    "turbidity": LabKind("NTU", 0.0, 2000.0, "rel_sd = 0.1"),
    "potassium": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.05"),
    "chloride": LabKind("mg/kg", 0.0, 20000.0, "rel_sd = 0.05"),
    "dextran": LabKind("mg/kg", 0.0, 10000.0, "rel_sd = 0.15"),
    "colour": LabKind("IU", 0.0, 60000.0, "rel_sd = 0.05"),
    "phosphate": LabKind("mg/kg", 0.0, 5000.0, "rel_sd = 0.08"),
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
        What says so, or why nothing does.
    """

    tag: TagLook
    analyte: Analyte | None
    place: str | None
    port: Port
    basis: Basis = "juice"
    period_h: float = 0.0
    why: str = ""


def lab_series(
    tags: Sequence[TagLook], by_hand: Collection[str], files: Mapping[str, str]
) -> set[str]:
    """Series whose results a person made: a book holds them, or they come seldom.

    Parameters
    ----------
    tags : sequence of TagLook
    by_hand : collection of str
        Series out of books that name points of sampling.
    files : mapping of str to str
        File of each series. An instrument that seldom changes is recorded seldom: where most
        series of a file come often, all are of instruments.
    """
    gaps: dict[str, list[float]] = {}
    for tag in tags:
        gaps.setdefault(files.get(tag.name, ""), []).append(_gap_s(tag))
    usual = {file: median(every_s) for file, every_s in gaps.items()}

    def made(tag: TagLook) -> bool:
        every_s = usual[files.get(tag.name, "")]
        # A historian's tags may be called after juices too: a book is filled in now and then.
        book = tag.name in by_hand and every_s >= _BOOK_S
        return book or every_s >= _BY_HAND_S or "lab" in spaced(tag.name).split()

    return {tag.name for tag in tags if made(tag)}


def _gap_s(tag: TagLook) -> float:
    """Usual time between moments with a result [s], however many results one moment has."""
    moments = np.unique(tag.raw_s)
    return float(np.median(np.diff(moments))) if len(moments) > 1 else tag.every_s


def guess_lab(
    tags: Sequence[TagLook],
    pooled: Collection[str] = (),
    books: Mapping[str, str] | None = None,
) -> list[LabGuess]:
    """Analyte and sampling point of each series, none claimed twice.

    Parameters
    ----------
    tags : sequence of TagLook
    pooled : collection of str
        Series with two different values at one moment: of several juices, left open.
    books : mapping of str to str, optional
        Name of the book that holds each series; it speaks where the series does not.
    """
    claimed: dict[tuple[str, str, Port, bool], str] = {}
    found = []
    for tag in tags:
        guess = _one(tag, tag.name in pooled, (books or {}).get(tag.name, ""))
        if guess.analyte is not None and guess.place is not None:
            spot = (guess.analyte, guess.place, guess.port, guess.period_h > 0.0)
            other = claimed.setdefault(spot, tag.name)
            if other != tag.name:
                guess = _open(tag, f'the same as "{other}", it seems: which of them counts?')
        found.append(guess)
    return found


def _one(tag: TagLook, pooled: bool, book: str) -> LabGuess:
    if pooled:
        why = "two values that differ at one moment, again and again: several juices in one column"
        return _open(tag, f"{why}; name the column that tells them apart (tag_columns)")
    analyte = analyte_of(tag.name) or analyte_of(tag.words)
    point = _point(tag, book)
    if analyte is None or point is None:
        lacks = "analysis" if analyte is None else "sampling point"
        return _open(tag, f"its name tells no {lacks} that lostpol knows")
    unit = _bare_unit(tag.unit)
    if unit and lab_change(analyte[0], unit) is None:
        return _open(tag, f'"{tag.unit}" is no unit of {analyte[0]} that can be converted')
    if point[0] == LIMED and analyte[0] in ("pol", "purity") and tag.middle < 1.0:
        return _open(tag, f"{analyte[0]} of {tag.middle:.3g} cannot be of juice")
    text = f"{tag.name} {tag.unit}"
    composite = _gap_s(tag) >= _COMPOSITE_S and (
        says_composite(tag.name) or says_composite(tag.words)
    )
    words = [f'"{analyte[1]}"', f'"{point[1]}"'] + (["composite by its name"] if composite else [])
    return LabGuess(
        tag,
        analyte[0],
        point[0][0],
        point[0][1],
        basis_of(text) if analyte[0] == "rs" else "juice",
        _period_h(tag) if composite else 0.0,
        ", ".join(words) + f", usual level {tag.middle:.3g}",
    )


def _point(tag: TagLook, book: str) -> tuple[SamplingPoint, str] | None:
    found = point_of(tag.name) or point_of(tag.words)
    if found is None and (named := point_of(book)) is not None:
        return named[0], f"{named[1]} in the name of the book"
    return found


def _bare_unit(unit: str) -> str:
    """Unit without what it is a share of: ``% on solids`` is per cent."""
    text = unit.strip()
    return "%" if text.startswith("%") and len(text) > 1 and basis_of(text) != "juice" else text


def _period_h(tag: TagLook) -> float:
    """Hours between composites, whole days taken for days."""
    gap_s = _gap_s(tag)
    days = min(max(1, round(gap_s / _DAY_S)), _MOST_DAYS)
    return 24.0 * days if gap_s > 0.6 * _DAY_S else float(round(gap_s / 3600.0))


def _open(tag: TagLook, why: str) -> LabGuess:
    return LabGuess(tag, None, None, "", why=why)
