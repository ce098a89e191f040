r"""Which marks part decimals and thousands, by the evidence of a whole file.

``3.103`` is three thousand in one file and three and a bit in another. Some numbers can be read one
way only: ``7.40`` and ``0.123`` have decimals behind a point, ``1.204.500`` and ``1.204,5`` have
not; a file that writes ``3103`` parts no thousands. Where a file has none of these the person is
asked, but for the point between commas that part cells: nobody parts both with the same marks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

import polars as pl

from pipeline.base import Answer, DataError, said

#: Digits parted in threes, or as in India two and two before the last three.
PARTED: Final = {
    mark: rf"\d{{1,3}}(?:{m}\d{{3}})+|\d{{1,2}}(?:{m}\d{{2}})+{m}\d{{3}}"
    for mark, m in ((",", ","), (".", r"\."), (" ", r"[ \u{a0}\u{202f}\u{2009}]"), ("'", "['’]"))
}
_FRONT: Final = r"^\s*[<>~≤≥]?\s*=?\s*[+\-−]?"
_BACK: Final = r"(?:[eE][+-]?\d+)?\s*(?:[^\d\s.,][^\d]{0,15})?$"
#: Numbers that decide less than this share of those that are open, or a single one among so many
#: open ones, may be a slip of the pen.
_LEAST_SHARE: Final = 0.02
_MANY: Final = 20


@dataclass(frozen=True, slots=True)
class Marks:
    """How numbers are written.

    Attributes
    ----------
    decimal : str
    thousands : str
        Mark accepted even without decimals behind it; empty: only where both marks show.
    """

    decimal: str
    thousands: str = ""


@dataclass(slots=True)
class _Evidence:
    """How many different numbers speak for each meaning of one mark, and one that is open."""

    decimals: int = 0
    thousands: int = 0
    unsure: int = 0
    example: str = ""


def number_marks(
    where: str,
    first: pl.DataFrame,
    columns: Sequence[str],
    delimiter: str,
    rest: Iterable[pl.DataFrame] = (),
) -> Marks:
    """Decimal and thousands mark that the values of a table show.

    Parameters
    ----------
    where : str
        For messages.
    first : polars.DataFrame
    columns : sequence of str
        Columns of values.
    delimiter : str
        What parts the cells; empty for a sheet.
    rest : iterable of polars.DataFrame
        The rows after the first; looked at only while nothing is decided.

    Raises
    ------
    DataError
        Numbers can be read in two ways, a thousand times apart.
    """
    kinds = first.schema
    text = [name for name in columns if kinds.get(name) == pl.String]
    if not text:
        return Marks(".")
    found, whole = {".": _Evidence(), ",": _Evidence()}, 0
    for frame in chain((first,), rest):
        values = _distinct(frame, text)
        whole += int(values.str.contains(r"^\s*[+-]?[1-9]\d{3,}(?:[.,]|\s*$)").sum())
        for mark, other in ((".", ","), (",", ".")):
            _add(found[mark], values, mark, other)
        unsure = any(evidence.unsure for evidence in found.values())
        told = any(_decided(evidence, whole) for evidence in found.values())
        # Between commas a point parts decimals, whatever comes: nothing is left to look for.
        if told or not (unsure or delimiter not in ("", ",")):
            break
    return _marks(where, found, whole, delimiter, _distinct(first, text))


def _distinct(frame: pl.DataFrame, text: Sequence[str]) -> pl.Series:
    """Different values of a batch, those of every column."""
    each = max(200, 200_000 // len(text))
    parts = [frame[name].head(each).cast(pl.String).alias("v") for name in text]
    return pl.concat(parts).drop_nulls().unique(maintain_order=True)


def _add(evidence: _Evidence, values: pl.Series, mark: str, other: str) -> None:
    """Count what the values say of a mark."""
    m = r"\." if mark == "." else ","
    o = r"\." if other == "." else ","
    with_it = values.filter(values.str.contains(m))
    if with_it.is_empty():
        return
    parts = rf"{_FRONT}\d{{1,3}}(?:{m}\d{{3}}){{2,}}{_BACK}"
    indian = rf"{_FRONT}\d{{1,2}}(?:{m}\d{{2}})+{m}\d{{3}}{_BACK}"
    before = rf"{_FRONT}\d{{1,3}}(?:{m}\d{{3}})+{o}\d+{_BACK}"
    before_indian = rf"{_FRONT}\d{{1,2}}(?:{m}\d{{2}})+{m}\d{{3}}{o}\d+{_BACK}"
    number = rf"{_FRONT}(?:\d[\d  '’]*|\d{{1,3}}(?:{o}\d{{3}})+)?{m}\d*{_BACK}"
    unsure = rf"{_FRONT}[1-9]\d{{0,2}}{m}\d{{3}}{_BACK}"
    grouped = with_it.str.contains(rf"{parts}|{indian}|{before}|{before_indian}")
    open_ones = with_it.str.contains(unsure) & ~grouped
    decimal = with_it.str.contains(number) & ~grouped & ~open_ones
    evidence.thousands += int(grouped.sum())
    evidence.decimals += int(decimal.sum())
    evidence.unsure += int(open_ones.sum())
    if not evidence.example and open_ones.any():
        evidence.example = with_it.filter(open_ones)[0].strip()


def _decided(evidence: _Evidence, whole: int) -> bool:
    """Tell whether one mark has shown what it is, by more than a slip of the pen."""
    told = evidence.decimals + evidence.thousands + (whole if evidence.unsure else 0)
    return told > 1 and told >= _LEAST_SHARE * evidence.unsure


def _marks(
    where: str, found: dict[str, _Evidence], whole: int, delimiter: str, values: pl.Series
) -> Marks:
    """What the evidence comes to."""
    point, comma = found["."], found[","]
    points = point.decimals + comma.thousands
    commas = comma.decimals + point.thousands
    decimal = "," if commas > points else "."
    other = "," if decimal == "." else "."
    theirs = found[other]
    told = max(points, commas)
    if not told:
        return _untold(where, found, whole, delimiter)
    # Between commas that part cells a point parts decimals: it is never open there.
    unsure = comma.unsure + (0 if delimiter in ("", ",") else point.unsure)
    if told < _LEAST_SHARE * unsure or (told == 1 and unsure > _MANY):
        of_point = delimiter not in ("", ",") and point.unsure > 0
        raise _asked(where, point if of_point else comma, "." if of_point else ",")
    # Thousands without decimals behind them are taken where all numbers with that mark may be so.
    if theirs.unsure and theirs.decimals and not theirs.thousands:
        return Marks(decimal)
    if theirs.thousands or theirs.unsure:
        return Marks(decimal, other)
    return Marks(decimal, _other_mark(values))


def _untold(where: str, found: dict[str, _Evidence], whole: int, delimiter: str) -> Marks:
    """Marks of a table in which no number can be read in one way only."""
    point, comma = found["."], found[","]
    if point.unsure and comma.unsure:
        raise _asked(where, comma, ",")
    if comma.unsure:
        # A file that writes thousands without a mark has commas for decimals only.
        if whole > 1 and whole >= _LEAST_SHARE * comma.unsure:
            return Marks(",")
        raise _asked(where, comma, ",")
    if (
        point.unsure
        and delimiter not in ("", ",")
        and not (whole > 1 and whole >= _LEAST_SHARE * point.unsure)
    ):
        raise _asked(where, point, ".")
    return Marks(".")


def _other_mark(values: pl.Series) -> str:
    """Blank or apostrophe that parts thousands, where one of them does."""
    shown = [
        mark for mark in (" ", "'") if values.str.contains(rf"{_FRONT}(?:{PARTED[mark]})").any()
    ]
    return shown[0] if len(shown) == 1 else ""


def _asked(where: str, evidence: _Evidence, mark: str) -> DataError:
    """Build the question what a mark before three digits means."""
    sample = evidence.example or f"1{mark}234"
    thousands, decimal = sample.replace(mark, ""), sample.replace(mark, ".")
    other = "." if mark == "," else ","
    return DataError(
        said(
            'Numbers such as "{sample}" can be read as {decimal} or as {thousands}.',
            sample=sample,
            decimal=decimal,
            thousands=thousands,
        ),
        where,
        said(
            'Say which: decimal = "{mark}", or decimal = "{other}" and thousands = "{mark2}", '
            "in the [[exports.layout]] of this kind of file.",
            mark=mark,
            other=other,
            mark2=mark,
        ),
        [
            Answer(
                {"decimal": mark}, said("{sample} is {decimal}", sample=sample, decimal=decimal)
            ),
            Answer(
                {"decimal": other, "thousands": mark},
                said("{sample} is {thousands}", sample=sample, thousands=thousands),
            ),
        ],
    )
