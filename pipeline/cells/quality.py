"""What an export says of its own readings: good, uncertain or bad.

Large numbers follow OPC UA (IEC 62541-4, StatusCode): the two highest of 32 bits are the severity,
00 good, 01 uncertain, 10 bad; 11 is kept for later use and counts as bad. Bytes follow OPC Data
Access (3.0, quality flags): the two highest of eight bits are 11 good, 01 uncertain, 00 bad; the
next four the sub-status, the lowest two the limit. Words follow the mill's description, else
``pipeline.cells.quality_words``. What a column does not show, such as which of 0 and 1 is good,
is asked about.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import polars as pl

from pipeline.cells.quality_asked import asked
from pipeline.cells.quality_words import flag, heading_says, word_meaning
from pipeline.cells.zone_words import folded

Kind = Literal["status", "byte", "words"]

#: Reason of a reading whose quality is not understood: it is asked about, never stored.
UNKNOWN: Final = "quality_not_understood"
_LEAST_CODE: Final = 1 << 30
#: Sub-status that each quality of OPC Data Access can have, without the limit.
_BYTES: Final = {
    3: (0b0000, 0b0110),
    1: (0b0000, 0b0001, 0b0100, 0b0101, 0b0110),
    0: (0b0000, 0b0001, 0b0010, 0b0011, 0b0100, 0b0101, 0b0110, 0b0111, 0b1000),
}
_REASONS: Final = {"good": None, "uncertain": "uncertain_quality", "bad": "bad_quality"}


@dataclass(frozen=True, slots=True)
class Judge:
    """What the qualities of one column mean.

    Attributes
    ----------
    kind : {"status", "byte", "words"}
    good, uncertain, bad : frozenset of str
        Words, in small letters without accents; "" is an empty cell.
    others : {"bad", "known", "asked"}
        What another word is: bad, what it means in itself, or not understood.
    empty : {"bad"} or None
        What an empty cell is where no list has it; None: not understood.
    """

    kind: Kind = "words"
    good: frozenset[str] = frozenset()
    uncertain: frozenset[str] = frozenset()
    bad: frozenset[str] = frozenset()
    others: Literal["bad", "known", "asked"] = "known"
    empty: Literal["bad"] | None = None

    def meaning(self, text: str | None) -> str | None:
        """``good``, ``uncertain`` or ``bad``; None for what is not understood."""
        plain = folded(text or "")
        for meaning in ("good", "uncertain", "bad"):
            if plain in getattr(self, meaning):
                return meaning
        if not plain or self.others == "asked":
            return None if plain else self.empty
        return self._other(text or "", plain)

    def _other(self, text: str, plain: str) -> str | None:
        """What a word says that stands in no list."""
        code = code_of(plain)
        if code is not None and is_status(code) and self._may_be_status(code):
            return {0: "good", 1: "uncertain"}.get(code // _LEAST_CODE, "bad")
        if self.kind == "byte" and code is not None and code < 1 << 8:
            return byte_meaning(code)
        told = word_meaning(text.strip())
        if self.others == "bad":
            return told if told in ("good", "uncertain") and plain.startswith(told) else "bad"
        return told

    def _may_be_status(self, code: int) -> bool:
        return self.kind == "status" or code >= _LEAST_CODE


def given_judge(
    good: Collection[str],
    uncertain: Collection[str],
    bad: Collection[str] = (),
    *,
    good_given: bool = True,
) -> Judge:
    """Judge of words that the mill's description names.

    With words of good readings only, every other word is bad; with words of bad readings too, a
    word in none of the lists is not understood.
    """
    judge = Judge(
        good=_folds(good), uncertain=_folds(uncertain), bad=_folds(bad), others="bad", empty="bad"
    )
    if not bad:
        return judge
    if good_given:
        return replace(judge, others="asked")
    return replace(judge, others="known", empty=None)


def _folds(words: Iterable[str]) -> frozenset[str]:
    return frozenset(folded(word.strip()) for word in words)


def column_judge(
    where: str,
    column: str,
    seen: Mapping[str, int],
    *,
    cell: Callable[[str], str] = lambda _: "",
    uncertain: Collection[str] = (),
) -> Judge:
    """Judge that a whole column shows by itself.

    Parameters
    ----------
    where : str
        For messages.
    column : str
        Its heading.
    seen : mapping of str to int
        How often each text comes beside a reading; empty cells as "".
    cell : callable, optional
        Gives a row with some text, as an example for messages.
    uncertain : collection of str, optional
        Words that the description names for doubtful readings.

    Raises
    ------
    DataError
        Some of it can be good or bad.
    """
    words = {text: count for text, count in seen.items() if folded(text.strip())}
    side = heading_says(column) or "quality"
    doubted = _folds(uncertain)
    if not words:
        return Judge(good=frozenset(("",)), uncertain=doubted)
    kind = code_kind(words)
    judge = Judge(kind or "words", uncertain=doubted)
    if side != "quality" and all(flag(text) is not None for text in words):
        judge = _flags(words, good_when_set=side == "good")
    meanings = {text: judge.meaning(text) for text in words}
    if None in meanings.values():
        raise asked(where, column, meanings, seen, cell)
    empty = next((text for text in seen if not folded(text.strip())), None)
    if empty is not None and "good" not in meanings.values():
        raise asked(where, column, {**meanings, "": None}, seen, cell)
    return replace(judge, empty="bad") if "good" in meanings.values() else judge


def _flags(words: Collection[str], *, good_when_set: bool) -> Judge:
    """Judge of flags that are set for good, or for bad readings."""
    texts = [
        frozenset(
            folded(text.strip()) for text in ("0", "1", "true", "false", *words) if flag(text) is up
        )
        for up in (good_when_set, not good_when_set)
    ]
    return Judge(good=texts[0], bad=texts[1])


def code_kind(words: Collection[str]) -> Literal["status", "byte"] | None:
    """What kind of numbers all of some texts are; None for none, and for what could be either."""
    plain = [folded(word.strip()) for word in words]
    codes = [code_of(word) for word in plain]
    if not codes or any(code is None for code in codes):
        return None
    known = [code for code in codes if code is not None]
    if not all(w.startswith("0x") for w in plain) and max(known) < _LEAST_CODE:
        told = max(known) >= 192 and all(byte_meaning(code) is not None for code in known)
        return "byte" if told else None
    # Counts of seconds since 1970 and numbers of batches are as large, but not built like codes.
    return "status" if all(is_status(code) for code in known) else None


def is_status(code: int) -> bool:
    """Tell whether a number is built like a status code of OPC UA (IEC 62541-4, 7.39).

    Reserved bits are 0, and the bits of information are 0 unless their kind is that of a value.
    """
    kind, information = code >> 10 & 0b11, code & 0b11_1111_1111
    reserved = code & (0b11 << 12 | 0b11 << 28)
    return not reserved and (kind == 1 or (kind == 0 and not information))


def code_of(plain: str) -> int | None:
    """Number below 2^32 that a text in small letters stands for; None for what is none.

    Decimal, hexadecimal with ``0x``, or decimal with a sign (the same 32 bits).
    """
    text = plain.partition(".")[0] if plain.replace(".", "", 1).strip("-").isdigit() else plain
    if plain != text and plain.partition(".")[2].strip("0"):
        return None
    try:
        number = int(text, 16) if text.startswith("0x") else int(text)
    except ValueError:
        return None
    if number < 0:  # the same 32 bits with a sign; above that a number is a number
        number = number + (1 << 32) if number < -_LEAST_CODE else -1
    return number if 0 <= number < 1 << 32 and len(text) <= 11 else None


def byte_meaning(code: int) -> str | None:
    """What a byte of quality of OPC Data Access says; None for a number that is none."""
    if not 0 <= code <= 255 or (code >> 2) & 0b1111 not in _BYTES.get(code >> 6, ()):
        return None
    return {3: "good", 1: "uncertain", 0: "bad"}[code >> 6]


def verdict(qualities: pl.Series, judge: Judge) -> pl.Series:
    """Reason against each reading by its quality.

    Parameters
    ----------
    qualities : polars.Series
        Texts; null for none.
    judge : Judge

    Returns
    -------
    polars.Series
        Null for a good one, ``uncertain_quality``, ``bad_quality``, or `UNKNOWN`.
    """
    known = qualities.unique()
    meanings = [judge.meaning(text) for text in known.to_list()]
    reasons = [UNKNOWN if meaning is None else _REASONS[meaning] for meaning in meanings]
    table = pl.DataFrame({"q": known, "why": pl.Series(reasons, dtype=pl.String)})
    return qualities.to_frame("q").join(
        table, on="q", how="left", nulls_equal=True, maintain_order="left"
    )["why"]  # fmt: skip


def looks_like_quality(seen: Mapping[str, int]) -> bool:
    """Tell whether most cells that hold something are words or codes of quality."""
    words = {text: count for text, count in seen.items() if folded(text.strip())}
    if not words:
        return False
    kind = code_kind(words)
    if kind == "byte":  # numbers that count on through 192 are no bytes of quality
        return all((code_of(folded(word)) or 0) % 4 == 0 for word in words)
    if kind is not None:
        return True
    total = sum(words.values())
    told = sum(count for text, count in words.items() if word_meaning(text) is not None)
    return 2 * told >= total


def may_be_flags(seen: Mapping[str, int]) -> bool:
    """Tell whether a column holds both a set and an unset flag, or one mark beside empty cells."""
    words = [text for text in seen if folded(text.strip()).strip("-.")]
    flags = {flag(text) for text in words}
    if flags == {True, False}:
        return True
    marks = all(not any(c.isalnum() for c in text) for text in words)
    return (
        bool(words) and marks and any(not folded(text.strip()) for text in seen) and len(words) <= 3
    )
