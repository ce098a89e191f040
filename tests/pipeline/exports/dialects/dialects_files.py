"""Forms of files: gzip, zip, workbooks with hidden and many sheets, Parquet, encodings."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import polars as pl
import xlsxwriter
from dialect_truth import ANY, EITHER, READ, SAO_PAULO, SIX, Dialect, record
from dialect_write import (
    SEMI,
    book,
    frame_long,
    local,
    long,
    packed,
    parquet,
    stamp,
    text,
    wide,
)  # fmt: skip
from dialects_units import UNIT, degf, exported, in_headings, in_row

SERIAL_ZERO = datetime(1899, 12, 30, tzinfo=UTC)


def serial(moment: datetime) -> str:
    """Days since the zero of spreadsheets, of the local clock."""
    naive = moment.replace(tzinfo=UTC)
    return f"{(naive - SERIAL_ZERO).total_seconds() / 86_400:.10f}"


def dialects() -> Iterator[Dialect]:
    yield from _text()
    yield from _books()
    yield from _cells()
    yield from _parquet()


def _file(name: str, file: str, data: bytes, truth, allowed=READ, **more) -> Dialect:
    return Dialect(f"file: {name}", "file", {file: data}, truth, allowed, **more)


def _zip(entries: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries.items():
            archive.writestr(zipfile.ZipInfo(name, (2025, 3, 15, 0, 0, 0)), data)
    return out.getvalue()


def _text() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth, stamp("%d.%m.%Y %H:%M"), SEMI)
    plain = text(rows, SEMI)
    yield _file("gzip", "export.csv.gz", packed(plain), truth)
    yield _file("gzip without its suffix", "export.csv", packed(plain), truth)
    yield _file(
        "two gzip members", "export.csv.gz", packed(plain[:900]) + packed(plain[900:]), truth
    )
    half = truth[: len(truth) // 2], truth[len(truth) // 2 :]
    parts = {f"day{k}.csv": text(wide(part)) for k, part in enumerate(half)}
    yield _file("zip of two", "export.zip", _zip(parts), truth)
    yield _file(
        "zip with a note",
        "export.zip",
        _zip({"read me.txt": b"Means of 90 minutes.\n", **parts}),
        truth,
        EITHER,
    )
    for encoding in ("utf-8-sig", "utf-16", "utf-16-le", "latin-1"):
        heads = in_headings(rows, UNIT | {"SH.TI221": "°C"})
        yield _file(
            f"encoding {encoding}", "export.csv", text(heads, SEMI, encoding=encoding), truth
        )
    yield _file("lines of old machines", "export.csv", text(rows, SEMI, eol="\r"), truth)
    for name, cell in (("serial days", serial), ("serial days with comma",
                       lambda m: serial(m).replace(".", ","))):  # fmt: skip
        yield _file(name, "export.csv", text(wide(truth, cell), SEMI), truth)
    for name, cell in (
        ("epoch with a fraction", lambda m: f"{m.timestamp():.3f}"),
        ("epoch in us", lambda m: str(int(m.timestamp() * 1_000_000))),
        ("epoch as exponent", lambda m: f"{m.timestamp():.9e}"),
    ):
        yield _file(name, "export.csv", text(wide(truth, cell)), truth,
                    EITHER if "exponent" in name else READ)  # fmt: skip


def _books() -> Iterator[Dialect]:
    truth = record()
    rows = wide(truth)
    yield _file("workbook, times as text", "export.xlsx", book([("Data", rows, False)]), truth)
    yield _file("workbook, numbers as text", "export.xlsx",
                book([("Data", rows, False)], numbers=False), truth)  # fmt: skip
    comma = wide(truth, marks=SEMI)
    yield _file("workbook, text with decimal comma", "export.xlsx", book([("Data", comma, False)]),
                truth)  # fmt: skip
    titled = [["Quillmere mill"], ["Shift log"], [], *rows]
    yield _file("workbook with titles", "export.xlsx", book([("Data", titled, False)]), truth)
    note = [["Means of 90 minutes"], ["Ask the laboratory"]]
    yield _file("workbook with a sheet of notes", "export.xlsx",
                book([("Notes", note, False), ("Data", rows, False)]), truth)  # fmt: skip
    stale = [rows[0], *([r[0], *(str(float(c) + 1) for c in r[1:])] for r in rows[1:])]
    answer = {"shape": "wide", "sheets": ["Data"]}
    yield _file(
        "workbook, hidden sheet of other values",
        "export.xlsx",
        book([("Data", rows, False), ("Old", stale, True)]),
        truth,
        EITHER,
        answer=answer,
    )
    yield _file(
        "workbook, hidden sheet in front",
        "export.xlsx",
        book([("A", stale, True), ("Data", rows, False)]),
        truth,
        EITHER,
        answer=answer,
    )
    other = record("2025-01-13")
    yield _file("workbook, hidden sheet of another month", "export.xlsx",
                book([("Data", rows, False), ("Test", wide(other), True)]), truth, EITHER,
                answer=answer)  # fmt: skip
    yield _file("workbook, a second sheet of other values", "export.xlsx",
                book([("Data", rows, False), ("Corrected", stale, False)]), truth,
                frozenset({"asked", "refused"}), answer=answer)  # fmt: skip
    own = [(t, [["time", t], *wide([r for r in truth if r.tag == t])[1:]], False) for t in SIX]
    yield _file("workbook, a sheet a tag, headed by it", "export.xlsx", book(own), truth)
    named = [(t, [["time", "value"], *rows[1:]], False) for t, rows, _ in own]
    yield _file(
        "workbook, a sheet a tag, named after it", "export.xlsx", book(named), truth, EITHER
    )
    halves = [("Day 1", wide(truth[:96]), False), ("Day 2", wide(truth[96:]), False)]
    yield _file("workbook, a sheet a day", "export.xlsx", book(halves), truth)
    shown = exported(truth, "SH.TI221", degf)
    units = {"SH.TI221": "degF"}
    two = [("C", wide(truth[:96]), False), ("F", in_row(wide(shown[96:]), units), False)]
    yield _file("workbook, other unit in the second sheet", "export.xlsx", book(two), truth)


def _cells() -> Iterator[Dialect]:
    """Cells with a type: dates, words, errors."""
    truth = record()
    for name, pattern, merged in (("dates as dates", "yyyy-mm-dd hh:mm", False),
                                  ("dates shown without time", "dd/mm/yyyy", False),
                                  ("a merged title", "yyyy-mm-dd hh:mm", True)):  # fmt: skip
        out = io.BytesIO()
        workbook = xlsxwriter.Workbook(out, {"in_memory": True})
        sheet = workbook.add_worksheet("Data")
        top = 2 if merged else 0
        if merged:
            sheet.merge_range(0, 0, 0, 6, "Quillmere mill, shift log")
        style = workbook.add_format({"num_format": pattern})
        rows = wide(truth)
        moments = list(dict.fromkeys(m for m, _ in local(truth, SAO_PAULO)))
        sheet.write_row(top, 0, rows[0])
        for y, (moment, row) in enumerate(zip(moments, rows[1:], strict=True), start=top + 1):
            sheet.write_datetime(y, 0, moment.replace(tzinfo=None), style)
            sheet.write_row(y, 1, [float(c) for c in row[1:]])
        workbook.close()
        yield _file(f"workbook, {name}", "export.xlsx", out.getvalue(), truth)
    serials = wide(truth, serial)
    yield _file("workbook, days as numbers", "export.xlsx", book([("Data", serials, False)]), truth)
    day = long(truth, stamp("%d/%m/%Y %H:%M"))
    yield _file("workbook, long, dates as text", "export.xlsx", book([("Data", day, False)]), truth)


def _parquet() -> Iterator[Dialect]:
    truth = record()
    frame = frame_long(truth)
    here = pl.col("time").dt.convert_time_zone(SAO_PAULO)
    for name, changed in (
        ("UTC", frame),
        ("local with zone", frame.with_columns(here)),
        ("local without zone", frame.with_columns(here.dt.replace_time_zone(None))),
        (
            "text",
            frame.with_columns(here.dt.strftime("%d/%m/%Y %H:%M"), pl.col("value").cast(pl.String)),
        ),
        ("categories", frame.with_columns(pl.col("tag").cast(pl.Categorical))),
        ("wide", frame.pivot(on="tag", index="time", values="value")),
        ("epoch in ms", frame.with_columns(pl.col("time").dt.epoch("ms"))),
        ("nanoseconds", frame.with_columns(pl.col("time").dt.cast_time_unit("ns"))),
    ):
        yield _file(f"Parquet, {name}", "export.parquet", parquet(changed), truth)
    marked = record(bad=(2, 5))
    frame = frame_long(marked).with_columns(bad=pl.Series([r.bad for r in marked]))
    yield _file("Parquet, a Boolean column bad", "export.parquet", parquet(frame), marked, EITHER)
    frame = frame.select("time", "tag", "value", good=~pl.col("bad"))
    yield _file("Parquet, a Boolean column good", "export.parquet", parquet(frame), marked, EITHER)
    shown = exported(truth, "SH.TI221", degf)
    frame = frame_long(shown).with_columns(
        unit=pl.Series([{"SH.TI221": "ºF"}.get(r.tag, UNIT[r.tag]) for r in shown])
    )
    yield _file("Parquet, ordinal sign F in its unit", "export.parquet", parquet(frame), truth, ANY)
    zone = ZoneInfo("Europe/Paris")
    rows = [r.utc.astimezone(zone).replace(tzinfo=None) for r in truth]
    frame = frame_long(truth).with_columns(time=pl.Series(rows))
    yield _file("Parquet, another zone described", "export.parquet", parquet(frame), truth, READ,
                layout={"shape": "long", "time_zone": "Europe/Paris"})  # fmt: skip
