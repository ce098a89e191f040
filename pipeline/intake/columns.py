"""What each column of a table that nobody has described holds, told by its cells.

A heading only settles what the cells leave open; it may be in any language, or none.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.cells import folded, heading_says, is_of_remarks, looks_like_quality
from pipeline.files import EXTRA, SHORT
from pipeline.intake.lab_words import analyte_of
from pipeline.layouts import Kind, When, is_unit_heading, kind_of
from pipeline.mill import is_unit

Role = Literal["when", "number", "unit", "quality", "group", "words", "counter", "empty"]

#: Rows looked at; taken evenly from what was read of a table.
_SAMPLE: Final = 40_000
#: Columns of words with more different cells than these name nothing in common (estimates).
_MOST_GROUPS: Final = 3000
_MOST_SHARE: Final = 0.5
_MOST_UNITS: Final = 40
_NUMBER: Final = r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?"
_SHIFTS: Final = re.compile(
    r"\b(?:shift|turn[oe]?|equipe|poste|guardia|schicht|crew|brigada|quart)\b|^(?:no|nr|id|n)\b"
)


@dataclass(frozen=True, slots=True)
class ColumnLook:
    """One column.

    Attributes
    ----------
    name : str
        Heading (untrusted text).
    role : str
        What it holds.
    different : tuple of str
        Different cells of a column of words, at most 3000, in the order in which they come.
    filled : int
        Cells that hold something.
    """

    name: str
    role: Role
    different: tuple[str, ...] = ()
    filled: int = 0


def sampled(first: pl.DataFrame) -> pl.DataFrame:
    """Rows to judge a table by, in their order."""
    rows = first.drop(EXTRA, SHORT, strict=False)
    return rows.gather_every(max(1, rows.height // _SAMPLE))


def look_at_columns(rows: pl.DataFrame, when: When) -> list[ColumnLook]:
    """Role of each column of a table whose times are known.

    Parameters
    ----------
    rows : polars.DataFrame
        As `sampled` gives them.
    when : When
        Columns that say when.
    """
    said = {when.time, when.date, when.half, when.zone}
    return [
        ColumnLook(name, "when") if name in said else _look(rows[name], kind_of(rows[name]))
        for name in rows.columns
    ]


def _look(column: pl.Series, kind: Kind) -> ColumnLook:
    cells = texts(column)
    cells = cells.filter(cells != "")
    name = column.name
    if not len(cells):
        return ColumnLook(name, "empty")
    if kind in ("moment", "date", "clock", "half", "zone"):
        return ColumnLook(name, "when", filled=len(cells))
    if kind == "number":
        return ColumnLook(name, _of_numbers(name, column, cells), filled=len(cells))
    different = cells.unique(maintain_order=True)
    words = tuple(different.head(_MOST_GROUPS).to_list())
    return ColumnLook(name, _of_words(name, cells, words, len(different)), words, len(cells))


def _of_numbers(name: str, column: pl.Series, cells: pl.Series) -> Role:
    if _is_quality(name, cells):
        return "quality"
    values = numbers(column)
    values = values[np.isfinite(values)]
    whole = bool(len(values)) and bool(np.all(values == np.round(values)))
    if whole and len(values) > 3 and bool(np.all(np.diff(values) == 1.0)):
        return "counter"
    if whole and (_SHIFTS.search(folded(name)) or not name.strip()):
        rising = len(values) > 3 and bool(np.all(np.diff(values) > 0))
        return "counter" if rising else "words"
    return "number"


def _of_words(name: str, cells: pl.Series, words: tuple[str, ...], different: int) -> Role:
    if _are_units(name, words):
        return "unit"
    if _is_quality(name, cells):
        return "quality"
    remarks = is_of_remarks(name) or float(np.mean([len(w) for w in words])) > 60.0
    common = different <= min(_MOST_GROUPS, max(2, _MOST_SHARE * len(cells)))
    return "group" if common and not remarks else "words"


def _are_units(name: str, words: tuple[str, ...]) -> bool:
    """Whether words are units; those that name analyses too (pH, Brix) are no evidence alone."""
    units = [w for w in words if is_unit(w) or w in ("-", "1")]
    if len(words) > _MOST_UNITS or 2 * len(units) <= len(words):
        return False
    return is_unit_heading(name) or any(analyte_of(w) is None for w in units)


def _is_quality(name: str, cells: pl.Series) -> bool:
    seen = dict(cells.value_counts().head(40).iter_rows())
    if len(seen) >= 40:
        return False
    heading = heading_says(name)
    numeric = all(re.fullmatch(_NUMBER, str(c)) for c in seen)
    if numeric and heading is None:
        # Numbers under another heading are codes of quality only where they are such codes.
        return {"192"} <= set(seen) and looks_like_quality(seen)
    return heading is not None or looks_like_quality(seen)


def texts(column: pl.Series) -> pl.Series:
    """Cells as text without blanks around; empty for null."""
    return column.cast(pl.String, strict=False).fill_null("").str.strip_chars()


def numbers(column: pl.Series) -> NDArray[np.float64]:
    """Numbers of a column, whatever parts their decimals; NaN where there is none."""
    if column.dtype.is_numeric():
        return column.cast(pl.Float64).to_numpy()
    plain = texts(column).str.replace_all(r"[<>\s']", "")
    plain = plain.str.replace(r",(\d+)$", ".$1")
    return plain.str.extract(rf"^({_NUMBER})", 1).cast(pl.Float64, strict=False).to_numpy()


def of_role(looks: Collection[ColumnLook], *roles: Role) -> list[ColumnLook]:
    """Columns of some roles, in their order."""
    return [look for look in looks if look.role in roles]
