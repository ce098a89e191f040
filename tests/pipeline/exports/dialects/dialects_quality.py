"""What exports say of their own readings: numbers, words in five languages, many headings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dialect_truth import ANY, ASK, EITHER, READ, Dialect, Reading, record
from dialect_write import Rows, long, text, wide, with_column

BAD = (3, 11, 17)
TRUTH = record(bad=BAD, count=24)


def one(name: str, heading: str, words: Sequence[str], allowed, good=(), **more) -> Dialect:
    """A long file with a column of quality: word of a good reading, then of a bad one."""
    table = with_column(long(TRUTH), heading, [words[r.bad] for r in TRUTH])
    answer = {"quality_column": heading, "good_words": list(good)} if good else None
    return Dialect(f"quality: {name}", "quality", {"export.csv": text(table)}, TRUTH, allowed,
                   answer=answer, **more)  # fmt: skip


def dialects() -> Iterator[Dialect]:
    yield from _numbers()
    yield from _words()
    yield from _wide()
    yield from _values()


def _numbers() -> Iterator[Dialect]:
    yield one("192 and 0", "quality", ("192", "0"), EITHER, ("192",))
    yield one("192 and 0, under Status", "Status", ("192", "0"), EITHER, ("192",))
    levels = ("192", "64", "0")
    table = with_column(
        long(TRUTH), "quality",
        [levels[(1 + k % 2) if r.bad else 0] for k, r in enumerate(TRUTH)],
    )  # fmt: skip
    yield Dialect("quality: 192, 64 and 0", "quality", {"export.csv": text(table)}, TRUTH, EITHER,
                  answer={"good_words": ["192"], "uncertain_words": ["64"]})  # fmt: skip
    yield one("216 for a local override counts as good", "quality", ("216", "24"), EITHER)
    yield one("1 good, 0 bad under status", "status", ("1", "0"), ASK, ("1",))
    yield one("0 good, 1 bad under status", "status", ("0", "1"), ASK, ("0",))
    yield one("1 good, 0 bad under quality", "quality", ("1", "0"), ASK | {"exact"}, ("1",))
    yield one("0 good, 1 bad under quality", "quality", ("0", "1"), ASK, ("0",))
    yield one("0 good, 8 bad under status code", "status_code", ("0", "8"), ASK | {"exact"})
    yield one("0 good, 300 bad under state", "state", ("0", "300"), ASK | {"exact"}, ("0",))
    yield one("1 under bad", "bad", ("0", "1"), EITHER)
    yield one("true under bad", "bad", ("false", "true"), EITHER)
    yield one("1 under is_bad", "is_bad", ("0", "1"), EITHER)
    yield one("1 under good", "good", ("1", "0"), EITHER)
    yield one("true under valid", "valid", ("true", "false"), EITHER)
    yield one("true under is_valid", "IsValid", ("True", "False"), EITHER)
    yield one("true under questionable", "questionable", ("false", "true"), EITHER)
    yield one("1 under error", "error", ("0", "1"), EITHER)
    yield one("1 under invalid", "invalid", ("0", "1"), EITHER)
    yield one("100 and 0 under quality", "quality", ("100", "0"), ASK | {"exact"}, ("100",))
    yield one("status codes", "quality", ("0", "2147483648"), READ)
    yield one("status codes in hexadecimal", "quality", ("0x00000000", "0x80000000"), READ)


def _words() -> Iterator[Dialect]:
    for name, good, bad in (
        ("en", "Good", "Bad"), ("en, OK", "OK", "NOK"), ("en, valid", "Valid", "Invalid"),
        ("es", "Buena", "Mala"), ("es, bueno", "Bueno", "Malo"), ("pt", "Boa", "Ruim"),
        ("pt, bom", "Bom", "Mau"), ("fr", "Bon", "Mauvais"), ("fr, valide", "Valide", "Invalide"),
        ("de", "Gut", "Schlecht"), ("de, gültig", "gültig", "ungültig"), ("letters", "G", "B"),
        ("es, válido", "Válido", "No válido"),
    ):  # fmt: skip
        allowed = READ if name in ("en", "en, OK") else EITHER
        yield one(f"words, {name}", "quality", (good, bad), allowed, (good.casefold(),))
    yield one("empty is good, Bad is bad", "quality", ("", "Bad"), EITHER, ("",))
    yield one("empty is good, a star is bad", "flag", ("", "*"), EITHER)
    yield one("no data words", "status", ("Good", "I/O Timeout"), READ)
    yield one("long names", "quality", ("Good, non-specific", "Bad, sensor failure"), EITHER)
    yield one("numbers and words", "quality", ("192 (Good)", "24 (Bad)"), EITHER)
    for heading, good, bad in (
        ("Calidad", "Buena", "Mala"),
        ("Qualidade", "Boa", "Ruim"),
        ("Qualité", "Bonne", "Mauvaise"),
        ("Qualität", "gut", "schlecht"),
        ("Estado", "Good", "Bad"),
        ("Statut", "Good", "Bad"),
        ("Calidad", "Good", "Bad"),
        ("Qualidade", "Good", "Bad"),
        ("Value Quality", "Good", "Bad"),
        ("QC", "Good", "Bad"),
        ("q", "Good", "Bad"),
        ("Confidence", "Good", "Bad"),
    ):
        yield one(f"column {heading}, {good}", heading, (good, bad), EITHER,
                  (good.casefold(),))  # fmt: skip


def beside(truth: list[Reading], form: str, words: Sequence[str], *, at_end: bool = False) -> Rows:
    """A wide table with a column of quality for each tag, beside it or behind all."""
    rows = wide(truth)
    tags = rows[0][1:]
    per_row = [truth[k : k + len(tags)] for k in range(0, len(truth), len(tags))]
    table = []
    for row, marks in zip(rows, [None, *per_row], strict=True):
        told = [form.format(t) for t in tags] if marks is None else [words[r.bad] for r in marks]
        pairs = (
            [*row[1:], *told] if at_end else [c for p in zip(row[1:], told, strict=True) for c in p]
        )
        table.append([row[0], *pairs])
    return table


def _wide() -> Iterator[Dialect]:
    for name, form, words, at_end in (
        (".quality beside", "{}.quality", ("Good", "Bad"), False),
        (".quality behind all", "{}.quality", ("Good", "Bad"), True),
        (" quality beside", "{} quality", ("Good", "Bad"), False),
        ("_Q with 192 and 0", "{}_Q", ("192", "0"), False),
        (".status with codes", "{}.status", ("0", "2147483648"), False),
        ("_bad with 0 and 1", "{}_bad", ("0", "1"), True),
        ("called Quality each time", "Quality", ("Good", "Bad"), False),
        ("called Status each time", "Status", ("OK", "NOK"), False),
        ("Qualidade of each tag", "Qualidade {}", ("Boa", "Ruim"), False),
        ("in brackets", "{} [Quality]", ("Good", "Bad"), False),
        ("without headings", "", ("Good", "Bad"), False),
    ):
        rows = beside(TRUTH, form, words, at_end=at_end)
        yield Dialect(f"quality: wide, {name}", "quality, wide", {"export.csv": text(rows)}, TRUTH,
                      EITHER, spare=len(TRUTH))  # fmt: skip
    for heading in ("quality", "Status", "bad", "Qualität"):
        words = ("0", "1") if heading == "bad" else ("Good", "Bad")
        marks = [words[k in BAD] for k in range(24)]
        rows = with_column(wide(TRUTH), heading, marks)
        yield Dialect(f"quality: wide, one column {heading} for the row", "quality, wide",
                      {"export.csv": text(rows)}, TRUTH, EITHER, spare=24)  # fmt: skip


def _values() -> Iterator[Dialect]:
    """Bad readings told in the place of the number."""
    for word in ("Bad", "No Data", "I/O Timeout", "#N/A", "Sin dato", "Fehler", "-----", "NaN",
                 "Comm Fail", "Bad Input"):  # fmt: skip
        none = [r._replace(text=None) if r.bad else r for r in TRUTH]
        table = [[*row[:2], word if row[2] == "" else row[2]] for row in long(none)]
        yield Dialect(
            f"quality: the word {word} for a number",
            "quality",
            {"export.csv": text(table)},
            none,
            READ,
        )
    table = [
        [*row[:2], row[2] + mark]
        for row, mark in zip(long(TRUTH), ["", *("*" if r.bad else "" for r in TRUTH)], strict=True)
    ]
    yield Dialect("quality: a star behind bad numbers", "quality", {"export.csv": text(table)},
                  TRUTH, ANY)  # fmt: skip
