"""Numbers out of text: decimal and thousands marks, limits, marks behind a number, words.

A text that could be two numbers is never guessed a thousand times too large or too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import polars as pl

from pipeline.cells.decimals import PARTED, Marks

#: Longest word kept as a reason; exports are foreign text.
REASON_CHARS: Final = 40
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_READING: Final = rf"^([<>≤≥~]?)\s*=?\s*({_NUMBER})\s*([^\d\s].{{0,19}})?$"
#: A sign behind a number, as some ledgers write it, is never a mark that can be left out.
_SIGN_BEHIND: Final = r"^[+\-−–]"


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
        .when(
            pl.col("found").is_null()
            | ~pl.col("found").is_finite()
            | pl.col("suffix").str.contains(_SIGN_BEHIND)
        )
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
        value=pl.when(
            ~pl.col("kind").is_in(["no_result", "unreadable_text"]).fill_null(value=False)
        ).then("found"),
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
        # A blank or an apostrophe never stands before decimals: groups of three are thousands.
        bare = mark == marks.thousands or mark in (" ", "'")
        tail = rf"(?:{decimal}\d+)?" if bare else rf"{decimal}\d+"
        grouped = rf"^[<>≤≥~]?\s*=?\s*[+-]?(?:{PARTED[mark]}){tail}(?:\s*[^\d\s.,].*)?$"
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
