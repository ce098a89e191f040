"""Which rows are readings: headings in several lines, titles, footers, headings that come again."""

from __future__ import annotations

from collections.abc import Iterator

from dialect_truth import ANY, ASK, EITHER, PARIS, READ, SIX, Dialect, record
from dialect_write import ISO, SEMI, Marks, long, stamp, text, wide
from dialects_columns import made
from dialects_units import UNIT

WORDS = {
    "MJ.FI101": "Mixed juice flow", "LM.FI301": "Milk of lime", "LT.AI212": "Limed juice pH",
    "SH.TI221": "Settler temperature", "CT.LI231": "Clear juice level", "YD.TI901": "Yard air",
}  # fmt: skip


def dialects() -> Iterator[Dialect]:
    yield from _lines()
    yield from _titles()
    yield from _footers()
    yield from _again()
    yield from _files()
    yield from _turned()
    yield from _languages()


def _lines() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    tags = rows[0][1:]
    said = ["", *(WORDS[t] for t in tags)]
    units = ["", *(UNIT[t] for t in tags)]
    for name, top, allowed in (
        ("tag, description, unit", [rows[0], said, units], READ),
        ("tag, unit, description", [rows[0], units, said], EITHER),
        ("description, tag, unit", [["time", *said[1:]], rows[0], units], EITHER),
        ("description above the tags", [said, rows[0]], EITHER),
        ("unit above the tags", [units, rows[0]], EITHER),
        (
            "time in the first line, tags in the second",
            [["Time", *said[1:]], ["", *tags], units],
            EITHER,
        ),
        ("tag and description", [rows[0], said], READ),
        ("four lines", [rows[0], said, units, ["", *["Average"] * 6]], ANY),
        ("station above each tag", [["", "Feed", "", "Lime", "", "Settler", ""], rows[0]], READ),
    ):
        yield made(f"{name}", [*top, *rows[1:]], truth, allowed, axis="heading lines")


def _titles() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    for name, above in (
        ("three lines", "Quillmere mill\nShift log\nIssued by the laboratory\n"),
        ("an empty line", "Quillmere mill\n\n"),
        ("a period", "Report,13/03/2025 00:00 to 15/03/2025 00:00\n"),
        (
            "keys and values",
            "Mill,Quillmere\nFrom,2025-03-13 00:00\nTo,2025-03-15 00:00\nRows,32\n\n",
        ),
        ("cells of dates", "From,2025-03-13 00:00,To,2025-03-15 00:00\n"),
        ("marks of a comment", "# exported for the laboratory\n# all means\n"),
        ("a separator line", "sep=,\n"),
        ("numbers", "Version,1.4\nPoints,6\n"),
    ):
        yield Dialect(f"title: {name}", "title", {"export.csv": text(rows, above=above)}, truth)
    comment = [["#time", *rows[0][1:]], *rows[1:]]
    yield made("a mark of a comment before the headings", comment, truth, EITHER, axis="title")


def _footers() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    for name, lines in (
        ("a count of rows", [["Total rows: 32"]]),
        ("an average", [["Average", *["7.5"] * 6]]),
        ("least, most, mean", [["Min", *["1"] * 6], ["Max", *["9"] * 6], ["Mean", *["5"] * 6]]),
        ("an end mark", [[], ["End of report"]]),
        ("a moment of printing", [["2025-03-15 06:00:00", "printed"]]),
        ("a total under the moment of the last row", [["Total", "1", "2"]]),
    ):
        fate = ANY if name == "a moment of printing" else READ
        yield made(name, [*rows, *lines], truth, fate, axis="footer", spare=6 * len(lines))


def _again() -> Iterator[Dialect]:
    one, two = record("2025-03-13", count=16), record("2025-03-14", count=16)
    truth = one + two
    first, second = wide(one), wide(two)
    swapped = wide([two[6 * (k // 6) + (5 - k % 6)] for k in range(len(two))])
    yield made("the same headings in mid file", [*first, *second], truth, READ, axis="again")
    yield made(
        "headings in another order in mid file", [*first, *swapped], truth, READ, axis="again"
    )
    yield made("an empty line and headings in another order", [*first, [], *swapped], truth, EITHER,
               axis="again")  # fmt: skip
    yield made("a title and headings in another order", [*first, [], ["Day 2"], *swapped], truth,
               EITHER, axis="again")  # fmt: skip
    three = record("2025-03-13", count=16, tags=SIX[:3])
    rest = record("2025-03-13", count=16, tags=SIX[3:])
    yield made(
        "other tags in mid file", [*wide(three), *wide(rest)], three + rest, ANY, axis="again"
    )
    yield made("an empty line and other tags", [*wide(three), [], *wide(rest)], three + rest, ANY,
               axis="again")  # fmt: skip
    fewer = record("2025-03-14", count=16, tags=(SIX[5], SIX[0]))
    yield made("fewer tags in mid file", [*first, *wide(fewer)], one + fewer, ANY, axis="again")
    american = [wide(two, stamp("%m/%d/%Y %H:%M"))[0], *wide(two, stamp("%m/%d/%Y %H:%M"))[1:]]
    yield made(
        "other dates below the second headings",
        [*wide(one, stamp("%d/%m/%Y %H:%M")), *american],
        truth,
        ANY,
        axis="again",
    )
    marks = Marks(";", ",")
    yield made("other decimal marks below the second headings",
               [*first, *wide(two, marks=marks)], truth, ANY, axis="again", marks=";")  # fmt: skip
    fate = frozenset({"asked", "refused", "rows", "exact"})
    yield made("rows before the real headings, as of a file joined", [*first[1:], *second], truth,
               fate, axis="joined")  # fmt: skip
    yield made("rows of other columns before the real headings",
               [*(row[:4] for row in first[1:]), *second],
               [r for r in one if r.tag in SIX[:3]] + two, fate, axis="joined")  # fmt: skip
    yield made("no headings at all", first[1:], one, ASK, axis="joined")
    # Ten rows of a file in another order were put above its own headings.
    yield made("rows in another order before the real headings", [*swapped[1:], *first], truth,
               fate, axis="joined")  # fmt: skip


def _files() -> Iterator[Dialect]:
    """One tag a file."""
    truth = record(tags=SIX[:3])
    own = {tag: [r for r in truth if r.tag == tag] for tag in SIX[:3]}
    named = {f"{tag}.csv": text(wide(rows)) for tag, rows in own.items()}
    yield Dialect("one tag a file: the tag as heading", "one tag a file", named, truth)
    bare = {f"{tag}.csv": text([["time", "value"], *wide(rows)[1:]]) for tag, rows in own.items()}
    yield Dialect(
        "one tag a file: the tag in the file's name",
        "one tag a file",
        bare,
        truth,
        EITHER,
        proposal='tag = "MJ.FI101" (or tag = "from the file\'s name")',
    )
    titled = {
        f"part{k}.csv": text([["time", "value"], *wide(rows)[1:]], above=f"Tag: {tag}\n")
        for k, (tag, rows) in enumerate(own.items())
    }
    yield Dialect("one tag a file: the tag in a title", "one tag a file", titled, truth, EITHER,
                  proposal='tag = "MJ.FI101"')  # fmt: skip
    cells = {
        f"part{k}.csv": text([["Tag", tag], ["Unit", UNIT[tag]], [], ["time", "value"],
                              *wide(rows)[1:]]) for k, (tag, rows) in enumerate(own.items())
    }  # fmt: skip
    yield Dialect(
        "one tag a file: the tag beside the word Tag", "one tag a file", cells, truth, EITHER
    )


def _turned() -> Iterator[Dialect]:
    truth = record(count=12)
    rows = wide(truth)
    yield made(
        "times in columns, tags in rows",
        [list(c) for c in zip(*rows, strict=True)],
        truth,
        ANY,
        axis="turned",
    )
    day = record("2025-03-13", count=48, step_min=60, tags=("MJ.FI101",))
    heads = ["Date", *(f"{h:02}:30" for h in range(24))]
    grid = [heads, *([d, *(r.text for r in day[24 * k : 24 * k + 24])]
                     for k, d in enumerate(("2025-03-13", "2025-03-14")))]  # fmt: skip
    yield made("a day in each row, hours in columns", grid, day, ASK | {"rows"}, axis="turned")
    spaced = "\n".join(f"{r[0]:<24}" + "".join(f"{c:>12}" for c in r[1:]) for r in wide(record()))
    yield Dialect("turned: columns by blanks", "turned", {"export.txt": (spaced + "\n").encode()},
                  record(), ANY)  # fmt: skip
    lower = [[rows[0][0], *(c.lower() for c in rows[0][1:])], *rows[1:]]
    yield made("tags in small letters", lower, truth, ANY, axis="turned")
    path = [[rows[0][0], *(f"\\\\QUILL\\{c}.PV" for c in rows[0][1:])], *rows[1:]]
    yield made("tags with a path", path, truth, ANY, axis="turned")
    said = [[rows[0][0], *(f"{c} - {WORDS[c]}" for c in rows[0][1:])], *rows[1:]]
    yield made("tags with their description", said, truth, ANY, axis="turned")


HEADS = {
    "es": ("Fecha", "Hora", "Etiqueta", "Valor", "Calidad"),
    "pt": ("Data", "Hora", "Variável", "Valor", "Qualidade"),
    "fr": ("Date", "Heure", "Repère", "Valeur", "Qualité"),
    "de": ("Datum", "Uhrzeit", "Messstelle", "Wert", "Qualität"),
    "en": ("Date", "Time", "Point", "Value", "Quality"),
}
STAMP_WORDS = {
    "es": "Fecha y hora", "pt": "Data/Hora", "fr": "Horodatage", "de": "Zeitstempel",
    "en": "Timestamp",
}  # fmt: skip
GOOD = {"es": ("Buena", "Mala"), "pt": ("Boa", "Ruim"), "fr": ("Bonne", "Mauvaise"),
        "de": ("gut", "schlecht"), "en": ("Good", "Bad")}  # fmt: skip


def _languages() -> Iterator[Dialect]:
    truth = record(zone=PARIS, bad=(4, 9), count=24)
    when = stamp("%d/%m/%Y|%H:%M:%S")
    for language, (day, clock, tag, value, quality) in HEADS.items():
        fate = READ if language == "en" else EITHER
        rows = long(truth, when, SEMI, PARIS)
        table = [[day, clock, tag, value, quality],
                 *([*r[0].split("|"), r[1], r[2], GOOD[language][x.bad]]
                   for r, x in zip(rows[1:], truth, strict=True))]  # fmt: skip
        yield Dialect(f"language: {language}, long, date apart, quality", "language",
                      {"export.csv": text(table, SEMI)}, truth, fate, PARIS)  # fmt: skip
        plain = [r._replace(bad=False) for r in truth]
        stamped = STAMP_WORDS[language]
        rows = long(plain, ISO, SEMI, PARIS, (stamped, tag, value))
        yield Dialect(f"language: {language}, long", "language", {"export.csv": text(rows, SEMI)},
                      plain, fate, PARIS)  # fmt: skip
        rows = wide(plain, stamp("%d.%m.%Y %H:%M"), SEMI, PARIS, stamped)
        encoding = "cp1252" if language in ("fr", "pt") else "utf-8-sig"
        yield Dialect(
            f"language: {language}, wide, {encoding}",
            "language",
            {"export.csv": text(rows, SEMI, encoding=encoding)},
            plain,
            READ,
            PARIS,
        )
