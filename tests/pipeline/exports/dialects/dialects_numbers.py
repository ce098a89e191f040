"""Numbers that could be two, a thousand times apart; signs, exponents, marks in odd places."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from dialect_truth import ANY, ASK, EITHER, READ, Dialect, record
from dialect_write import PLAIN, SEMI, Marks, long, raw_text, stamp, text, wide

#: Every number has three digits behind the mark, or four before it.
THOUSANDS = {"LM.FI301": ("3103", "1204", "2450", "1987", "5120")}
THIRDS = {"CT.LI231": ("3.103", "1.204", "45.120", "2.450", "19.875")}
ONE = ("LM.FI301",)
LEVEL = ("CT.LI231",)
DAY = stamp("%d/%m/%Y %H:%M")


def dialects() -> Iterator[Dialect]:
    yield from _open()
    yield from _told()
    yield from _signs()
    yield from _careless()


def _open() -> Iterator[Dialect]:
    """Nothing in the file tells thousands from thousandths."""
    whole = record(tags=ONE, values=THOUSANDS)
    part = record(tags=LEVEL, values=THIRDS)
    for name, truth, marks, allowed, answer in (
        ("comma for thousands, semicolon", whole, Marks(";", ".", ","), ASK,
         {"decimal": ".", "thousands": ","}),
        ("decimal comma, semicolon", part, Marks(";", ","), ASK | {"exact"}, {"decimal": ","}),
        ("comma for thousands, tab", whole, Marks("\t", ".", ","), ASK,
         {"decimal": ".", "thousands": ","}),
        ("decimal comma, tab", part, Marks("\t", ","), ASK, {"decimal": ","}),
        ("comma for thousands, quoted", whole, Marks(",", ".", ","), ASK,
         {"decimal": ".", "thousands": ","}),
        ("decimal comma, quoted", part, Marks(",", ","), ASK, {"decimal": ","}),
        ("point for thousands, semicolon", whole, Marks(";", ",", "."), ASK,
         {"decimal": ",", "thousands": "."}),
        ("decimal point, semicolon", part, Marks(";", "."), ASK | {"exact"}, {"decimal": "."}),
        ("point for thousands, tab", whole, Marks("\t", ",", "."), ASK,
         {"decimal": ",", "thousands": "."}),
        ("decimal point, comma", part, Marks(",", "."), READ, {"decimal": "."}),
    ):  # fmt: skip
        for shape, rows in (("wide", wide(truth, marks=marks)), ("long", long(truth, marks=marks))):
            yield Dialect(
                f"number: open, {name}, {shape}", "number, open", {"export.csv": text(rows, marks)},
                truth, allowed, answer={"shape": shape, **answer},
            )  # fmt: skip
    # Beside a column that could be two, whole numbers of less than a thousand tell nothing.
    both = record(tags=("LM.FI301", "LT.AI212"), values=THOUSANDS | {"LT.AI212": ("7", "8", "9")})
    marks = Marks(";", ",", ".")
    yield Dialect("number: open, point for thousands beside whole numbers", "number, open",
                  {"export.csv": text(wide(both, DAY, marks), marks)}, both, ASK,
                  answer={"shape": "wide", "decimal": ",", "thousands": "."})  # fmt: skip
    mixed = record(tags=("LM.FI301",), values={"LM.FI301": ("3103", "987", "1204", "870")})
    for name, marks, answer in (
        ("point", Marks(";", ",", "."), {"decimal": ",", "thousands": "."}),
        ("comma", Marks(";", ".", ","), {"decimal": ".", "thousands": ","}),
    ):
        yield Dialect(f"number: {name} for thousands in some numbers only", "number, open",
                      {"export.csv": text(wide(mixed, marks=marks), marks)}, mixed, EITHER,
                      answer={"shape": "wide", **answer})  # fmt: skip


def _told() -> Iterator[Dialect]:
    """Another number of the file tells."""
    truth = record(tags=("LM.FI301", "LT.AI212"), values=THOUSANDS | {"LT.AI212": ("7.40", "6.95")})
    for name, marks in (
        ("point for thousands, 7,40", Marks(";", ",", ".")),
        ("comma for thousands, 7.40", Marks(";", ".", ",")),
        ("comma for thousands in quotes, 7.40", Marks(",", ".", ",")),
        ("blank for thousands, 7,40", Marks(";", ",", " ")),
        ("blank for thousands, 7.40", Marks(",", ".", " ")),
        ("apostrophe for thousands, 7.40", Marks(",", ".", "'")),
        ("curly apostrophe for thousands, 7,40", Marks(";", ",", "’")),
        ("tab, point for thousands, 7,40", Marks("\t", ",", ".")),
        ("thin blank for thousands, 7,40", Marks(";", ",", "\u2009")),
    ):
        for shape, rows in (("wide", wide(truth, marks=marks)), ("long", long(truth, marks=marks))):
            yield Dialect(
                f"number: told, {name}, {shape}",
                "number",
                {"export.csv": text(rows, marks)},
                truth,
                EITHER,
            )
    # One column typed by hand with commas, the others written by a machine with points.
    rows = wide(record(), marks=PLAIN)
    hand = [[*r[:3], r[3].replace(".", ","), *r[4:]] for r in rows]
    yield Dialect("number: one column with decimal commas, the others with points", "number",
                  {"export.csv": text(hand, ";")}, record(), ANY)  # fmt: skip
    hand = [
        [*r[:3], r[3].replace(".", ",") if k % 3 == 1 else r[3], *r[4:]] for k, r in enumerate(rows)
    ]
    yield Dialect("number: a column with commas here and there", "number",
                  {"export.csv": text(hand, ";")}, record(), ANY)  # fmt: skip
    truth = record(values={"LM.FI301": ("3103", "1204", "870")})
    mixed = [[*r[:2], f"{int(r[2]):,}" if k else r[2], *r[3:]] for k, r in enumerate(wide(truth))]
    yield Dialect("number: comma for thousands in one column, points in the others", "number",
                  {"export.csv": text(mixed)}, truth, EITHER)  # fmt: skip


def _signs() -> Iterator[Dialect]:
    truth = record()
    for name, change, allowed in (
        ("a minus behind", lambda t: t[1:] + "-" if t.startswith("-") else t, ANY),
        ("brackets for minus", lambda t: f"({t[1:]})" if t.startswith("-") else t, ANY),
        ("a true minus sign", lambda t: t.replace("-", "−"), EITHER),
        ("a blank behind the sign", lambda t: t.replace("-", "- "), ANY),
        ("a plus in front", lambda t: t if t.startswith("-") else "+" + t, READ),
        ("exponents", lambda t: f"{Decimal(t):.5E}", READ),
        (
            "no nought in front",
            lambda t: t.replace("0.", ".", 1) if t.startswith("0.") else t,
            READ,
        ),
        ("a point at the end", lambda t: t if "." in t else t + ".", READ),
        ("noughts in front", lambda t: t if t.startswith("-") else "00" + t, READ),
        ("blanks around", lambda t: f"  {t} ", READ),
        ("equals and quotes", lambda t: f'="{t}"', ANY),
        ("an apostrophe in front", lambda t: "'" + t, ANY),
        ("many digits", lambda t: t + "0000000001" if "." in t else t, READ),
    ):
        shown = [r._replace(text=change(r.text)) for r in truth]
        rows = [["time", "tag", "value"], *([w[0], r.tag, r.text] for w, r in
                zip(long(truth)[1:], shown, strict=True))]  # fmt: skip
        yield Dialect(f"number: {name}", "number", {"export.csv": text(rows)}, truth, allowed)
    comma = [r._replace(text=f"{Decimal(r.text):.5E}".replace(".", ",")) for r in truth]
    rows = [["time", "tag", "value"], *([w[0], r.tag, r.text] for w, r in
            zip(long(truth)[1:], comma, strict=True))]  # fmt: skip
    yield Dialect(
        "number: exponents with decimal comma",
        "number",
        {"export.csv": text(rows, SEMI)},
        truth,
        EITHER,
    )


def _careless() -> Iterator[Dialect]:
    """Decimal commas between commas: nobody can tell where a cell ends."""
    marks = Marks(",", ",")
    truth = record(tags=("LT.AI212",))
    for shape, rows in (("long", long(truth, marks=marks)), ("wide", wide(truth, marks=marks))):
        yield Dialect(f"number: decimal comma unquoted between commas, {shape}", "number, careless",
                      {"export.csv": raw_text(rows)}, truth, ANY)  # fmt: skip
    six = record()
    yield Dialect("number: decimal comma unquoted between commas, six tags", "number, careless",
                  {"export.csv": raw_text(wide(six, marks=marks))}, six, ANY)  # fmt: skip
    some = record(tags=("LM.FI301", "LT.AI212"), values=THOUSANDS | {"LT.AI212": ("7", "8", "9")})
    marks = Marks(",", ".", ",")
    yield Dialect("number: comma for thousands unquoted between commas", "number, careless",
                  {"export.csv": raw_text(wide(some, marks=marks))}, some, ANY)  # fmt: skip
    rows = long(six, marks=Marks(",", ","))
    rows = [[*row, "Good" if k else "quality"] for k, row in enumerate(rows)]
    yield Dialect("number: decimal comma unquoted before a quality", "number, careless",
                  {"export.csv": raw_text(rows)}, six, ANY)  # fmt: skip
