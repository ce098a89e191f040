"""Names of months in English, Spanish, Portuguese, French and German, in full or short."""

from __future__ import annotations

from functools import cache
from typing import Final

import polars as pl

from pipeline.cells.zone_words import folded

_NAMES: Final = (
    "january february march april may june july august september october november december",
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "janeiro fevereiro marco abril maio junho julho agosto setembro outubro novembro dezembro",
    "janvier fevrier mars avril mai juin juillet aout septembre octobre novembre decembre",
    "januar februar marz april mai juni juli august september oktober november dezember",
)
#: Short ones that are no beginnings of the full ones.
_OTHERS: Final = {"mrz": 3, "maerz": 3, "jaenner": 1, "janner": 1, "sett": 9, "setiembre": 9}
_LETTERS: Final = r"\p{L}{3,12}"


@cache
def _month_of() -> dict[str, int]:
    """Month of every beginning of its names that no other month shares."""
    found: dict[str, set[int]] = {}
    for names in _NAMES:
        for month, name in enumerate(names.split(), start=1):
            for length in range(3, len(name) + 1):
                found.setdefault(name[:length], set()).add(month)
    return {word: next(iter(m)) for word, m in found.items() if len(m) == 1} | _OTHERS


def month_of(word: str) -> int | None:
    """Number of a month by its name, in full or short; None for another word."""
    return _month_of().get(folded(word.strip(" .")))


def with_numbered_months(text: pl.Series) -> pl.Series:
    """Dates with a named month as ISO 8601 where the year has four digits, else as day/month/year.

    Other text stays as it is.
    """
    lettered = text.str.contains(_LETTERS).fill_null(value=False)
    if not lettered.any():
        return text
    named = text.filter(lettered)
    words = named.str.extract_all(_LETTERS).explode().unique().drop_nulls().to_list()
    months = {w: f"~{m:02}~" for w in words if (m := month_of(w)) is not None}
    if not months:
        return text
    longest = sorted(months, key=len, reverse=True)
    # A weekday in front may be short for a month's name, too: "mar." is Tuesday in French.
    day = r"^\p{L}{2,12}[.,]{0,2}\s+(\d{1,2}[-/. ]+(?:de )?\p{L}|\p{L}{3,12}\.? \d)"
    plain = named.str.strip_chars().str.replace(day, "$1")
    marked = plain.str.replace_many(longest, [months[w] for w in longest], leftmost=True)
    gap, of = r"[-/. ,]*", r"(?:de )?"
    iso = (
        marked.str.replace(
            rf"^(\d{{1,2}})(?:st|nd|rd|th)?{gap}{of}~(\d\d)~\.?{gap}{of}(\d{{4}})[,:]?\s*",
            "$3-$2-$1 ",
        )
        .str.replace(
            rf"^~(\d\d)~\.?{gap}(\d{{1,2}})(?:st|nd|rd|th)?,?\s+(\d{{4}}),?\s*", "$3-$1-$2 "
        )
        .str.replace(
            rf"^~(\d\d)~\.?{gap}(\d{{1,2}})\s+(\d{{1,2}}:\d{{2}}(?::\d{{2}})?)\s+(\d{{4}})$",
            "$4-$1-$2 $3",
        )
        .str.replace(rf"^(\d{{4}}){gap}~(\d\d)~\.?{gap}(\d{{1,2}})[,:]?\s*", "$1-$2-$3 ")
        .str.replace(rf"^(\d{{1,2}}){gap}{of}~(\d\d)~\.?{gap}{of}(\d{{2}})(\D|$)", "$1/$2/$3$4")
        .str.strip_chars()
    )
    return text.scatter(lettered.arg_true(), iso)
