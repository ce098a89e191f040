"""Orders of day, month and year; names of months; hours in halves; strays that decide nothing."""

from __future__ import annotations

from collections.abc import Iterator

from dialect_truth import ANY, ASK, EITHER, READ, Dialect, record
from dialect_write import ISO, SEMI, Rows, Stamp, long, named, stamp, text, wide


def _words(text: str) -> list[str]:
    return text.split()


MONTHS = {
    "es": _words("ene feb mar abr may jun jul ago sep oct nov dic"),
    "pt": _words("jan fev mar abr mai jun jul ago set out nov dez"),
    "fr": _words("janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc."),
    "de": _words("Jan Feb Mrz Apr Mai Jun Jul Aug Sep Okt Nov Dez"),
}
WHOLE = {
    "es": _words(
        "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"
    ),
    "pt": _words(
        "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro"
    ),
    "fr": _words(
        "janvier février mars avril mai juin juillet août septembre octobre novembre décembre"
    ),
    "de": _words(
        "Januar Februar März April Mai Juni Juli August September Oktober November Dezember"
    ),
}
#: 4 March, which may be 3 April; 8 July 2024, which may be 24 July 2008.
OPEN_DAY, OPEN_YEAR = "2025-03-04", "2024-07-08"


def one(name: str, when: Stamp, start: str, allowed, key: str = "", **more) -> Dialect:
    """A wide file with moments written in one way; `key` is the time_format that answers."""
    truth = record(start)
    answer = {"shape": "wide", "time_format": key} if key else None
    data = text(wide(truth, when, heading="Time"))
    return Dialect(f"order: {name}", "order", {"export.csv": data}, truth, allowed,
                   answer=answer, **more)  # fmt: skip


def dialects() -> Iterator[Dialect]:
    yield from _open()
    yield from _told()
    yield from _strays()
    yield from _named()
    yield from _clocks()


def _open() -> Iterator[Dialect]:
    """Two readings, both of which have come out of real machines."""
    for name, text_of, key in (
        ("day first", "%d/%m/%Y %H:%M", "%d/%m/%Y %H:%M"),
        ("month first", "%m/%d/%Y %H:%M", "%m/%d/%Y %H:%M"),
        ("day first, dashed", "%d-%m-%Y %H:%M:%S", "%d-%m-%Y %H:%M:%S"),
        ("month first, dashed", "%m-%d-%Y %H:%M:%S", "%m-%d-%Y %H:%M:%S"),
        ("day first, two-digit year", "%d/%m/%y %H:%M", "%d/%m/%y %H:%M"),
        ("month first, two-digit year", "%m/%d/%y %H:%M", "%m/%d/%y %H:%M"),
        ("day first, AM and PM", "%d/%m/%Y %I:%M %p", "%d/%m/%Y %I:%M %p"),
        ("no leading noughts, month first", "%-m/%-d/%Y %H:%M", "%m/%d/%Y %H:%M"),
    ):
        yield one(f"open, {name}", stamp(text_of), OPEN_DAY, ASK, key)
    for name, text_of in (
        ("year first", "%y-%m-%d %H:%M"),
        ("year last", "%d-%m-%y %H:%M"),
        ("year first, slashed", "%y/%m/%d %H:%M"),
        ("year first, dotted", "%y.%m.%d %H:%M"),
        ("year last, dotted", "%d.%m.%y %H:%M"),
    ):
        yield one(f"open year, {name}", stamp(text_of), OPEN_YEAR, EITHER, text_of)
    truth = record(OPEN_DAY, count=72)
    for name, text_of in (("day first", "%d/%m/%Y %H:%M"), ("month first", "%m/%d/%Y %H:%M")):
        data = text(wide(truth, stamp(text_of)))
        yield Dialect(f"order: runs on over four days, {name}", "order", {"export.csv": data},
                      truth, EITHER)  # fmt: skip
    # Samples of three months on the fourth of each: no step between them tells the order.
    lab = [r for k in (2, 3, 5) for r in record(f"2025-{k:02}-04", count=3, tags=("LAB CJ rs",))]
    for name, text_of in (("day first", "%d/%m/%Y %H:%M"), ("month first", "%m/%d/%Y %H:%M")):
        data = text(wide(lab, stamp(text_of)))
        yield Dialect(f"order: open, {name}, once a month", "order", {"lab.csv": data}, lab, ASK,
                      answer={"shape": "wide", "time_format": text_of})  # fmt: skip


def _told() -> Iterator[Dialect]:
    """The file itself says which."""
    for name, text_of, allowed in (
        ("two-digit year first, a day above twelve", "%y-%m-%d %H:%M", EITHER),
        ("two-digit year first, slashed", "%y/%m/%d %H:%M", EITHER),
        ("two-digit year first, dotted", "%y.%m.%d %H:%M", EITHER),
        ("two-digit year, compact", "%y%m%d %H%M", EITHER),
        ("two-digit year last", "%d/%m/%y %H:%M", READ),
        ("two-digit year last, month first", "%m/%d/%y %H:%M", READ),
        ("year, day, month", "%Y-%d-%m %H:%M", EITHER),
        ("year, day, month, slashed", "%Y/%d/%m %H:%M", EITHER),
        ("no leading noughts", "%-d/%-m/%Y %-H:%M", READ),
        ("compact with T", "%Y%m%dT%H%M%S", READ),
        ("compact, clock apart", "%Y%m%d %H%M", READ),
        ("compact, day first", "%d%m%Y %H:%M", EITHER),
        ("day of the year", "%Y-%j %H:%M", EITHER),
    ):
        yield one(f"told, {name}", stamp(text_of), "2025-03-13", allowed)
    yield one("ISO, open day", ISO, OPEN_DAY, READ)
    yield one("dots, open day", stamp("%d.%m.%Y %H:%M"), OPEN_DAY, READ)
    yield one("end of a month, day first", stamp("%d/%m/%Y %H:%M"), "2025-01-31", READ)
    yield one("year first, slashed, open day", stamp("%Y/%m/%d %H:%M"), OPEN_DAY, READ)


def _strays() -> Iterator[Dialect]:
    """One odd row: a filler, a slip of the hand. It must not decide for the others."""
    for name, text_of, start, stray, allowed in (
        ("filler 31/12/9999 in month first", "%m/%d/%Y %H:%M", OPEN_DAY, "31/12/9999 00:00", ASK),
        ("filler 12/31/9999 in day first", "%d/%m/%Y %H:%M", OPEN_DAY, "12/31/9999 00:00", ASK),
        ("17/02 in month first", "%m/%d/%Y %H:%M", OPEN_DAY, "17/02/2025 10:00", ASK),
        ("02/17 in day first", "%d/%m/%Y %H:%M", OPEN_DAY, "02/17/2025 10:00", ASK),
        ("31/12/1899 in month first", "%m/%d/%Y %H:%M", OPEN_DAY, "31/12/1899 00:00", ASK),
        ("filler in a file that tells", "%m/%d/%Y %H:%M", "2025-03-13", "31/12/9999 00:00", READ),
        ("17/02 in a file that tells", "%m/%d/%Y %H:%M", "2025-03-13", "17/02/2025 10:00", ANY),
        ("ISO in day first", "%d/%m/%Y %H:%M", "2025-03-13", "2025-03-15 00:00", ANY),
    ):
        truth = record(start)
        rows = wide(truth, stamp(text_of))
        rows.append([stray, *("0" for _ in rows[0][1:])])
        answer = {"shape": "wide", "time_format": text_of} if allowed is ASK else None
        yield Dialect(f"order: stray {name}", "order, stray row", {"export.csv": text(rows)},
                      truth, allowed, answer=answer, spare=6)  # fmt: skip
    truth = record(OPEN_DAY)
    footer = [["Printed on 17/03/2025 08:00", *[""] * 6]]
    rows = wide(truth, stamp("%d/%m/%Y %H:%M")) + footer
    yield Dialect("order: stray footer with a day above twelve", "order, stray row",
                  {"export.csv": text(rows)}, truth, EITHER, spare=6)  # fmt: skip


def _named() -> Iterator[Dialect]:
    """Names of months in five languages, in months whose names differ."""
    for language, start in (("es", "2025-01-13"), ("es", "2025-08-13"), ("pt", "2025-02-13"),
                            ("pt", "2025-10-13"), ("fr", "2025-02-13"), ("fr", "2025-08-13"),
                            ("de", "2025-03-13"), ("de", "2025-10-13")):  # fmt: skip
        when = named("%d-%b-%Y %H:%M", MONTHS[language])
        yield one(f"month named, {language}, {start[5:7]}", when, start, EITHER)
    for language, pattern in (("es", "%d de %b de %Y %H:%M"), ("pt", "%d de %b de %Y %H:%M"),
                              ("fr", "%d %b %Y %H:%M"), ("de", "%d. %b %Y %H:%M")):  # fmt: skip
        when = named(pattern, WHOLE[language])
        yield one(f"month in full, {language}", when, "2025-05-13", EITHER)
    for name, pattern, allowed in (
        ("Mar 13, 2025", "%b %d, %Y %H:%M:%S", READ),
        ("13 March 2025", "%d %B %Y %H:%M:%S", READ),
        ("March 13, 2025 with AM", "%B %d, %Y %I:%M %p", READ),
        ("13-Mar-25", "%d-%b-%y %H:%M:%S", READ),
        ("13MAR2025:00:30", "%d%b%Y:%H:%M:%S", EITHER),
        ("Thu 13 Mar 2025", "%a %d %b %Y %H:%M", EITHER),
        ("Thursday, March 13, 2025", "%A, %B %d, %Y %I:%M %p", EITHER),
        ("2025-Mar-13", "%Y-%b-%d %H:%M", EITHER),
        ("Thu Mar 13 00:30:00 2025", "%a %b %d %H:%M:%S %Y", EITHER),
    ):
        yield one(f"month named, {name}", stamp(pattern), "2025-03-13", allowed)


def _clocks() -> Iterator[Dialect]:
    """Times of day."""
    for name, pattern, allowed in (
        ("a comma behind the date", "%d/%m/%Y, %H:%M:%S", READ),
        ("a dash between", "%d/%m/%Y - %H:%M", EITHER),
        ("h between", "%d/%m/%Y %Hh%M", EITHER),
        ("a dot in the clock", "%d.%m.%Y %H.%M", EITHER),
        ("the clock first", "%H:%M %d/%m/%Y", EITHER),
        ("T between day first and clock", "%d/%m/%YT%H:%M:%S", EITHER),
        ("ms behind a colon", "%d/%m/%Y %H:%M:%S:000", EITHER),
        ("ms behind a comma", "%Y-%m-%d %H:%M:%S,000", READ),
        ("Uhr behind", "%d.%m.%Y %H:%M Uhr", EITHER),
        ("no year", "%d/%m %H:%M", frozenset({"asked", "refused"})),
    ):
        yield one(f"clock, {name}", stamp(pattern), "2025-03-13", allowed)
    for name, words in (
        ("a.m. and p.m.", ("a.m.", "p.m.")),
        ("a. m. and p. m.", ("a. m.", "p. m.")),
        ("A and P", ("A", "P")),
        ("am without a blank", ("am", "pm")),
    ):

        def when(m, words=words, gap="" if "without" in name else " "):
            return m.strftime("%d/%m/%Y %I:%M") + gap + words[m.hour >= 12]

        yield one(f"clock, {name}", when, "2025-03-13", EITHER)
    truth = record("2025-03-13", step_min=30, count=96)
    rows: Rows = long(truth, _at_24, SEMI)
    yield Dialect("order: clock, midnight is 24:00 of the day before", "order",
                  {"export.csv": text(rows, SEMI)}, truth, ANY)  # fmt: skip


def _at_24(moment) -> str:
    """Midnight told as hour 24 of the day that ends."""
    from datetime import timedelta

    if (moment.hour, moment.minute) != (0, 0):
        return moment.strftime("%d/%m/%Y %H:%M")
    return (moment - timedelta(days=1)).strftime("%d/%m/%Y 24:00")
