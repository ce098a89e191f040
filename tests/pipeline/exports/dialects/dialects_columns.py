"""Which column holds what: pairs side by side, dates apart, entry times, bare columns."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import zip_longest

from dialect_truth import ANY, ASK, EITHER, LAB, READ, SAO_PAULO, SIX, Dialect, Reading, record
from dialect_write import (
    ISO,
    SEMI,
    Rows,
    Stamp,
    local,
    long,
    raw_text,
    stamp,
    text,
    wide,
    with_column,
)


def made(
    name: str, rows: Rows, truth, allowed=READ, *, axis="column", marks=",", **more
) -> Dialect:
    """A delimited file of these rows."""
    return Dialect(
        f"{axis}: {name}", axis, {"export.csv": text(rows, marks)}, truth, allowed, **more
    )


def dialects() -> Iterator[Dialect]:
    yield from _pairs()
    yield from _apart()
    yield from _entered()
    yield from _unheaded()
    yield from _ragged()
    yield from _pooled()


def pairs(
    tags, heading="time", when: Stamp = ISO, *, lag_s=0, shorter=0
) -> tuple[Rows, list[Reading]]:
    """Columns of time and value for each tag; each tag `lag_s` later than the one before."""
    columns, truth = [], []
    for k, tag in enumerate(tags):
        own = record(tags=(tag,), count=32 - shorter * k)
        own = [r._replace(utc=r.utc + timedelta(seconds=lag_s * k)) for r in own]
        truth += own
        columns.append([heading, *(when(m) for m, _ in local(own, SAO_PAULO))])
        columns.append([tag, *(r.text for r in own)])
    return [list(row) for row in zip_longest(*columns, fillvalue="")], truth


def _pairs() -> Iterator[Dialect]:
    for name, tags, more in (
        ("two, times alike", SIX[:2], {}),
        ("two, times apart", SIX[:2], {"lag_s": 600}),
        ("six, times apart", SIX, {"lag_s": 420}),
        ("two, one shorter", SIX[1:3], {"lag_s": 600, "shorter": 9}),
        ("two, called timestamp", SIX[:2], {"lag_s": 600, "heading": "timestamp"}),
        ("two, called Date/Time", SIX[2:4], {"lag_s": 60, "heading": "Date/Time"}),
        ("three, times without headings", SIX[:3], {"lag_s": 600, "heading": ""}),
    ):
        rows, truth = pairs(tags, **more)
        yield made(f"pairs, {name}", rows, truth, EITHER, axis="pairs")
    rows, truth = pairs(SIX[:2], lag_s=600)
    rows = [[*row[:2], "", *row[2:]] for row in rows]
    yield made("pairs with an empty column between", rows, truth, EITHER, axis="pairs")
    rows, truth = pairs(SIX[:2], lag_s=600)
    names = ["time MJ.FI101", "MJ.FI101", "time LM.FI301", "LM.FI301"]
    yield made(
        "pairs, times named after their tags", [names, *rows[1:]], truth, EITHER, axis="pairs"
    )
    rows, truth = pairs(SIX[:2], lag_s=600)
    top = ["MJ.FI101", "", "LM.FI301", ""]
    yield made("pairs, tags above Time and Value", [top, ["Time", "Value"] * 2, *rows[1:]], truth,
               EITHER, axis="pairs")  # fmt: skip


def dated(day: str, clock: str, when=("%d/%m/%Y", "%H:%M"), *, start="2025-03-13", form=wide):
    """Date and time of day in columns of their own."""
    truth = record(start)
    rows = form(truth, stamp("|".join(when)))
    return [[day, clock, *rows[0][1:]], *([*r[0].split("|"), *r[1:]] for r in rows[1:])], truth


def _apart() -> Iterator[Dialect]:
    for day, clock, allowed in (
        ("Date", "Time", READ), ("Datum", "Zeit", READ), ("Datum", "Uhrzeit", EITHER),
        ("Fecha", "Hora", READ), ("Data", "Hora", READ), ("Date", "Heure", EITHER),
        ("Day", "Hour", EITHER), ("Jour", "Heure", EITHER), ("Dia", "Hora", EITHER),
        ("Date", "Clock", EITHER), ("sample_date", "sample_time", EITHER),
    ):  # fmt: skip
        rows, truth = dated(day, clock)
        yield made(f"{day} and {clock} apart", rows, truth, allowed, axis="date apart")
    rows, truth = dated("Data", "Hora", form=long)
    yield made("Data and Hora apart, long", rows, truth, READ, axis="date apart")
    rows, truth = dated("Hora", "Data", ("%H:%M", "%d/%m/%Y"))
    yield made("the clock before the date", rows, truth, EITHER, axis="date apart")
    rows, truth = dated("Date", "Time", ("%d/%m/%Y", "%H:%M"), start="2025-03-04")
    yield made("date apart, order open", rows, truth, ASK, axis="date apart",
               answer={"shape": "wide", "date_column": "Date", "time_column": "Time",
                       "time_format": "%d/%m/%Y %H:%M"})  # fmt: skip
    for name, when in (("whole hours", "%-H"), ("HHMM", "%H%M"), ("00h30", "%Hh%M")):
        truth = record(step_min=60, count=48)
        shift = [r._replace(utc=r.utc - timedelta(minutes=30)) for r in truth]
        rows = wide(shift, stamp(f"%Y-%m-%d|{when}"))
        rows = [["Date", "Hour", *rows[0][1:]], *([*r[0].split("|"), *r[1:]] for r in rows[1:])]
        yield made(f"date and {name}", rows, shift, EITHER, axis="date apart")
    rows, truth = dated("Date", "Time")
    once = [r if k == 0 or r[0] != rows[k - 1][0] else ["", *r[1:]] for k, r in enumerate(rows)]
    yield made("the date in the first row of each day only", once, truth, ANY, axis="date apart")
    truth = record()
    for name, heading in (("AM/PM", "AM/PM"), ("no name", "")):
        rows = wide(truth, stamp("%m/%d/%Y %I:%M|%p"), heading="Time")
        rows = [["Time", heading, *rows[0][1:]], *([*r[0].split("|"), *r[1:]] for r in rows[1:])]
        yield made(f"AM and PM in a column of {name}", rows, truth, EITHER, axis="date apart")
    rows = wide(truth, stamp("%d/%m/%Y|%I:%M|%p"))
    rows = [
        ["Date", "Time", "AM/PM", *rows[0][1:]],
        *([*r[0].split("|"), *r[1:]] for r in rows[1:]),
    ]
    yield made("date, clock, AM and PM apart", rows, truth, EITHER, axis="date apart")
    rows = wide(truth, stamp("%d|%m|%Y|%H|%M"))
    rows = [["Day", "Month", "Year", "Hour", "Minute", *rows[0][1:]],
            *([*r[0].split("|"), *r[1:]] for r in rows[1:])]  # fmt: skip
    yield made("day, month, year, hour, minute apart", rows, truth, EITHER, axis="date apart")


def _entered() -> Iterator[Dialect]:
    """The laboratory enters a result an hour or two after the sample was taken."""
    truth = record(tags=LAB, count=12, step_min=240)
    for entry, sampling, first in (
        ("Entry time", "Sampling time", True), ("time", "sampled_at", True),
        ("Entered at", "Sampled at", True), ("timestamp", "sample time", True),
        ("Entered", "Sampled", False), ("Fecha registro", "Fecha muestra", True),
        ("Data de digitação", "Data da coleta", True), ("date", "sampling_date", False),
        ("Date saisie", "Date prélèvement", True), ("Erfasst", "Probenahme", True),
        ("Date/Time", "Time of sample", True),
    ):  # fmt: skip
        rows = long(truth, headings=(sampling, "series", "result"))
        late = [ISO(m + timedelta(minutes=95)) for m, _ in local(truth, SAO_PAULO)]
        rows = with_column(rows, entry, late, at=0 if first else 1)
        yield made(
            f"{entry} {'before' if first else 'behind'} {sampling}",
            rows,
            truth,
            EITHER,
            axis="entry time",
            answer={"shape": "long", "time_column": sampling},
        )
    rows = wide(record(), heading="From")
    until = [
        ISO(m + timedelta(minutes=90))
        for m in dict.fromkeys(m for m, _ in local(record(), SAO_PAULO))
    ]
    yield made(
        "From and To of means",
        with_column(rows, "To", until, at=1),
        record(),
        EITHER,
        axis="entry time",
        spare=32,
        answer={"shape": "wide", "time_column": "From"},
    )


def _unheaded() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    numbers = [str(k) for k in range(1, 33)]
    yield made(
        "row numbers without a heading in front", with_column(rows, "", numbers, at=0), truth
    )
    for heading in ("#", "No.", "Row", "id"):
        yield made(f"row numbers under {heading}", with_column(rows, heading, numbers, at=0), truth,
                   READ, spare=32)  # fmt: skip
    yield made("an empty column without a heading", with_column(rows, "", [""] * 32), truth)
    words = ["ok" if k % 3 else "operator away" for k in range(32)]
    yield made("remarks without a heading behind", with_column(rows, "", words), truth, EITHER)
    yield made("remarks under a heading", with_column(rows, "Remarks", words), truth, spare=32)
    short = [rows[0], *with_column(rows, "", [str(k * 1.5) for k in range(32)])[1:]]
    yield made("a cell more than headings in every row, numbers", short, truth, ANY)
    short = [rows[0], *with_column(rows, "", words)[1:]]
    yield made("a cell more than headings in every row, words", short, truth, ANY)
    front = [rows[0], *with_column(rows, "", numbers, at=0)[1:]]
    yield made("a row number in front and no heading for it", front, truth, ANY)
    front = [rows[0], *with_column(rows, "", ["S1"] * 32, at=0)[1:]]
    yield made("a station in front and no heading for it", front, truth, ANY)


def _ragged() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    longer = [*rows[:10], [*rows[10], "7.7", "8"], *rows[11:]]
    yield made("one row with two cells more", longer, truth, ANY, axis="ragged")
    inside = [*rows[:10], [*rows[10][:2], "", *rows[10][2:]], *rows[11:]]
    yield made("one row with an empty cell more in the middle", inside, truth, ANY, axis="ragged")
    shorter = [*rows[:10], rows[10][:4], *rows[11:]]
    yield made("one row cut short", shorter, truth, ANY, axis="ragged")
    yield Dialect("ragged: a delimiter behind every row", "ragged",
                  {"export.csv": text(rows, tail=",")}, truth)  # fmt: skip
    data = raw_text([rows[0], *([*r, ""] for r in rows[1:])])
    yield Dialect("ragged: a delimiter behind every row but the headings", "ragged",
                  {"export.csv": data}, truth)  # fmt: skip
    data = raw_text([[*rows[0], ""], *rows[1:]])
    yield Dialect("ragged: a delimiter behind the headings only", "ragged", {"export.csv": data},
                  truth)  # fmt: skip
    yield Dialect("ragged: two delimiters behind every row", "ragged",
                  {"export.csv": text(rows, tail=",,")}, truth)  # fmt: skip
    yield Dialect(
        "ragged: every cell quoted", "ragged", {"export.csv": text(rows, quote=True)}, truth
    )
    data = text([[f" {c} " for c in row] for row in rows], SEMI)
    yield Dialect("ragged: blanks around every cell", "ragged", {"export.csv": data}, truth)
    wholly = raw_text([['"' + ",".join(row) + '"'] for row in rows])
    yield Dialect(
        "ragged: each row quoted as a whole", "ragged", {"export.csv": wholly}, truth, ANY
    )


def _pooled() -> Iterator[Dialect]:
    """Several juices in one column: two values of one series at one moment."""
    first, second = record(tags=("LAB CJ rs",), count=12), record(tags=("LAB LJ rs",), count=12)
    both = [r for two in zip(first, second, strict=True) for r in two]
    juice = ["clear" if r.tag == "LAB CJ rs" else "limed" for r in both]
    stamps = [ISO(m) for m, _ in local(both, SAO_PAULO)]
    wide_rows = [
        ["Sampled", "Juice", "LAB CJ rs"],
        *([t, j, r.text] for t, j, r in zip(stamps, juice, both, strict=True)),
    ]
    fate = frozenset({"asked", "refused", "rows"})
    truth = first
    yield made(
        "two juices in one column of a wide file",
        wide_rows,
        truth,
        fate,
        axis="pooled",
        proposal='tag_column with a second column, e.g. tag_columns = ["Juice", ...]',
    )
    long_rows = [
        ["time", "point", "analyte", "value"],
        *([t, j, "LAB CJ rs", r.text] for t, j, r in zip(stamps, juice, both, strict=True)),
    ]
    yield made("two juices under one series of a long file", long_rows, truth, fate | {"exact"},
               axis="pooled", proposal='tag_columns = ["point", "analyte"]')  # fmt: skip
    rows = [
        ["time", "series", "juice", "value"],
        *([t, "LAB CJ rs", j, r.text] for t, j, r in zip(stamps, juice, both, strict=True)),
    ]
    yield made("two juices told apart by a column of their own", rows, truth, fate, axis="pooled",
               proposal='tag_columns = ["series", "juice"]')  # fmt: skip
    rows = [["time", "tag", "value"], *long(first)[1:], *long(first)[1:]]
    yield made("every row twice", rows, first, READ, axis="pooled")
