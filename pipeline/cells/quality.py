"""What an export says of its own readings: good, uncertain or bad.

Numbers follow OPC UA (IEC 62541-4, StatusCode): the two highest of 32 bits are the severity, 00
good, 01 uncertain, 10 bad; 11 is kept for later use and counts as bad. Words follow the mill's
description; names of status codes begin with their severity.
"""

from __future__ import annotations

from typing import Final, Literal

import polars as pl

_LEAST_CODE: Final = 1 << 30
_CODE: Final = r"^(?:0x[0-9a-f]{1,8}|-?\d{1,10})$"


def quality_kind(first: pl.Series | None, *, words_given: bool) -> Literal["status", "words"]:
    """Tell status codes from words and flags.

    A column of zeros alone is status codes that are all good: a flag that is never set would
    make every reading bad.
    """
    if first is None or words_given:
        return "words"
    text = first.cast(pl.String).str.strip_chars().str.to_lowercase().drop_nulls().unique()
    text = text.filter(text != "")
    if text.is_empty() or not text.str.contains(_CODE).all():
        return "words"
    codes = status_codes(text.to_frame("q"), "q")
    return "status" if bool((codes >= _LEAST_CODE).any() or (codes == 0).all()) else "words"


def status_codes(frame: pl.DataFrame, column: str) -> pl.Series:
    """Status codes as whole numbers below 2^32; null for what is none.

    Decimal, hexadecimal with ``0x``, or decimal with a sign (the same 32 bits).
    """
    text = pl.col(column)
    hexadecimal = text.str.extract(r"^0x([0-9a-f]{1,8})$", 1)
    number = pl.coalesce(
        hexadecimal.str.to_integer(base=16, strict=False), text.cast(pl.Int64, strict=False)
    )
    wrapped = pl.when(number < 0).then(number + (1 << 32)).otherwise(number)
    return frame.select(pl.when(wrapped.is_between(0, (1 << 32) - 1)).then(wrapped)).to_series()


def verdict(
    frame: pl.DataFrame,
    kind: Literal["status", "words"],
    good_words: frozenset[str],
    uncertain_words: frozenset[str],
) -> pl.Series:
    """Reason against each reading by its quality: null, ``uncertain_quality``, ``bad_quality``.

    Parameters
    ----------
    frame : polars.DataFrame
        With a column ``quality`` of trimmed text in small letters.
    kind : {"status", "words"}
        As `quality_kind` tells.
    good_words, uncertain_words : frozenset of str
    """
    known = frame["quality"].unique().to_frame()
    codes = status_codes(known, "quality")
    word = pl.col("quality")
    by_word = (
        pl.when(word.is_in(list(good_words)) | word.str.contains(r"^good[a-z_. ]*$"))
        .then(pl.lit(None, pl.String))
        .when(word.is_in(list(uncertain_words)) | word.str.contains(r"^uncertain"))
        .then(pl.lit("uncertain_quality"))
        .otherwise(pl.lit("bad_quality"))
    )
    high = pl.col("code") // _LEAST_CODE
    by_code = (
        pl.when(high == 0)
        .then(pl.lit(None, pl.String))
        .when(high == 1)
        .then(pl.lit("uncertain_quality"))
        .otherwise(pl.lit("bad_quality"))
    )
    coded = pl.col("code").is_not_null() & (
        pl.lit(kind == "status") | (pl.col("code") >= _LEAST_CODE)
    )
    listed = word.is_in(list(good_words | uncertain_words)) & pl.lit(kind == "words")
    known = known.with_columns(code=codes).with_columns(
        why=pl.when(coded & ~listed).then(by_code).otherwise(by_word)
    )
    return frame["quality"].to_frame().join(
        known, on="quality", how="left", nulls_equal=True, maintain_order="left"
    )["why"]  # fmt: skip
