"""Numbers out of text: decimal and thousands marks, limits, marks behind a number, words.

A text that could be two numbers is never guessed a thousand times too large or too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import polars as pl

from pipeline.base import DataError

#: Longest word kept as a reason; exports are foreign text.
REASON_CHARS: Final = 40
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_READING: Final = rf"^([<>≤≥~]?)\s*=?\s*({_NUMBER})\s*(\D.{{0,19}})?$"
#: Digits parted in threes, or as in India two and two before the last three.
_PARTED: Final = {
    mark: rf"\d{{1,3}}(?:{m}\d{{3}})+|\d{{1,2}}(?:{m}\d{{2}})+{m}\d{{3}}"
    for mark, m in ((",", ","), (".", r"\."), (" ", r"[ \u{a0}\u{202f}\u{2009}]"), ("'", "['’]"))
}
_OPEN: Final = r"^\s*[+-]?[1-9]\d{0,2},\d{3}\s*$"
_COMMA: Final = r"^\s*[<>~]?\s*[+-]?[\d.  ']*\d,\d+\s*\D{0,4}$"
_POINT: Final = r"^\s*[<>~]?\s*[+-]?[\d,  ']*\d\.\d+\s*\D{0,4}$"


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


def number_marks(where: str, first: pl.DataFrame, columns: Sequence[str], delimiter: str) -> Marks:
    """Decimal and thousands mark that the first values show.

    Raises
    ------
    DataError
        Every number could be read in two ways, a thousand times apart.
    """
    kinds = first.schema
    text = [name for name in columns if kinds.get(name) == pl.String]
    if not text:
        return Marks(".")
    each = max(200, 200_000 // len(text))
    values = pl.concat([first[name].head(each).alias("v") for name in text]).drop_nulls()
    values = values.unique(maintain_order=True)
    commas, points = (int(values.str.contains(p).sum()) for p in (_COMMA, _POINT))
    both = int(values.str.contains(r"\d[,  '’]\d{3}\.\d").sum())
    reverse = int(values.str.contains(r"\d[.  '’]\d{3},\d").sum())
    decimal = "," if commas - both > points - reverse else "."
    if decimal == "," and not points and not reverse and delimiter != ";":
        unsure = int(values.str.contains(_OPEN).sum())
        if unsure == commas:
            sample = values.filter(values.str.contains(_OPEN))[0].strip()
            raise DataError(
                f'Numbers such as "{sample}" can be read as {sample.replace(",", ".")} '
                f"or as {sample.replace(',', '')}.",
                where,
                'Say which: decimal = "," (or decimal = "." and thousands = ",") in the '
                "[[exports.layout]] of this kind of file.",
            )
    other = "." if decimal == "," else ","
    shown = [
        mark
        for mark in (other, " ", "'")
        if values.str.contains(rf"(?:{_PARTED[mark]}){'[.]' if decimal == '.' else ','}\d").any()
    ]
    return Marks(decimal, shown[0] if len(shown) == 1 else "")


def to_numbers(
    frame: pl.DataFrame,
    marks: Marks,
    no_result_words: frozenset[str],
    harmless_marks: Sequence[str],
) -> pl.DataFrame:
    """Add value, kind of fault, word kept as reason, and unit behind the number.

    Parameters
    ----------
    frame : polars.DataFrame
        With a column ``raw`` of text.
    marks : Marks
    no_result_words : frozenset of str
        In small letters.
    harmless_marks : sequence of str

    Returns
    -------
    polars.DataFrame
        The same rows with value (Float64), kind, word and suffix (String, null for none).
    """
    words = [w for w in no_result_words if w]
    quick = frame["raw"].cast(pl.Float64, strict=False) if marks.decimal == "." else None
    if quick is None:
        # Whole numbers read alike with either mark.
        whole = frame["raw"].str.contains(r"^[+-]?\d+(,\d+)?$")
        plain = frame["raw"].str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
        quick = plain.zip_with(
            whole.fill_null(value=False),
            pl.Series([None], dtype=pl.Float64).new_from_index(0, len(plain)),
        )
    slow = ~quick.is_finite().fill_null(value=False)
    if any(_looks_numeric(word) for word in words):
        slow |= frame["raw"].str.to_lowercase().is_in(words).fill_null(value=False)
    none = [pl.lit(None, pl.String).alias(name) for name in ("kind", "word", "suffix")]
    done = frame.with_columns(quick.alias("value"), *none)
    if not slow.any():
        return done
    hard = _slowly(frame.filter(slow), marks, words, list(harmless_marks))
    at = slow.arg_true()
    return done.with_columns(
        done[name].scatter(at, hard[name]) for name in ("value", "kind", "word", "suffix")
    )


def _slowly(
    frame: pl.DataFrame, marks: Marks, no_result_words: list[str], harmless: list[str]
) -> pl.DataFrame:
    """Read what is no plain number."""
    text = pl.col("raw").str.strip_chars()
    frame = frame.with_columns(text=text, number=_pointed(text, marks))
    parts = pl.col("number").str.extract_groups(_READING)
    frame = frame.with_columns(
        limit=parts.struct[0],
        found=parts.struct[1].cast(pl.Float64, strict=False),
        suffix=parts.struct[2].str.strip_chars(),
    ).with_columns(suffix=pl.when(pl.col("suffix") != "").then("suffix"))
    lower = pl.col("text").str.to_lowercase()
    no_result = lower.is_in(no_result_words)
    bare = pl.col("suffix").is_null() | pl.col("suffix").is_in(harmless)
    kind = (
        pl.when(pl.col("text").is_null() | (pl.col("text") == ""))
        .then(pl.lit("no_value"))
        .when(no_result)
        .then(pl.lit("no_result"))
        .when(pl.col("found").is_null() | ~pl.col("found").is_finite())
        .then(
            pl.when(lower.is_in(["nan", "inf", "-inf", "infinity"]))
            .then(pl.lit("not_a_number"))
            .otherwise(pl.lit("unreadable_text"))
        )
        .when(pl.col("limit").is_in(["<", "≤"]))
        .then(pl.lit("below_detection"))
        .when(pl.col("limit").is_in([">", "≥"]))
        .then(pl.lit("above_detection"))
        .when(~bare | (pl.col("limit") == "~"))
        .then(pl.lit("marked"))
    )
    frame = frame.with_columns(kind=kind)
    word = pl.col("kind").is_in(["no_result", "unreadable_text", "marked"])
    return frame.with_columns(
        value=pl.when(~pl.col("kind").is_in(["no_result"]).fill_null(value=False)).then("found"),
        word=pl.when(word).then(printable(pl.col("text"))),
        suffix=pl.when(~bare).then("suffix"),
    )


def _pointed(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Numbers with a point for decimals and no thousands marks; null where it is not certain."""
    decimal = r"\." if marks.decimal == "." else ","
    number = text.str.replace(r"^([<>≤≥~]?\s*=?\s*)[−–]", "$1-")
    for mark in (",", ".", " ", "'"):
        if mark == marks.decimal:
            continue
        tail = rf"(?:{decimal}\d+)?" if mark == marks.thousands else rf"{decimal}\d+"
        grouped = rf"^[<>≤≥~]?\s*=?\s*[+-]?(?:{_PARTED[mark]}){tail}(?:\s*[^\d\s.,].*)?$"
        strip = rf"(\d){'[.]' if mark == '.' else _class(mark)}(\d)"
        once = number.str.replace_all(strip, "$1$2").str.replace_all(strip, "$1$2")
        number = pl.when(number.str.contains(grouped)).then(once).otherwise(number)
    if marks.decimal == ",":
        # A point that is left does not part thousands where it stands: leave it unreadable.
        number = pl.when(~number.str.contains(r"\d\.")).then(number)
        return number.str.replace(r"(\d),(\d)", "$1.$2")
    return pl.when(~number.str.contains(r"\d,\d")).then(number)


def _class(mark: str) -> str:
    return {" ": r"[ \u{a0}\u{202f}\u{2009}]", "'": "['’]", ",": ","}[mark]


def _looks_numeric(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def printable(text: pl.Expr) -> pl.Expr:
    """Foreign text fit to be shown: no control characters, no more than a line of it."""
    return text.str.replace_all(r"\p{C}", " ").str.slice(0, REASON_CHARS)
