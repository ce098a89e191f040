"""What the cases of the corpus are made of: invented readings, writers, expectations."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import xlsxwriter

FILES = Path(__file__).parent / "files"
CHICAGO = ZoneInfo("America/Chicago")
START = datetime(2025, 10, 14, 19, 50, tzinfo=UTC)
FLOW, PH, TEMP, RS = "MJ.FI101", "LT.AI212", "SH.TI221", "LAB CJ rs"
TAGS = (FLOW, PH, TEMP)


def truth(count=6, step=timedelta(minutes=10), start=START):
    """Readings of three tags: moment, tag, value."""
    base = {FLOW: 265.25, PH: 7.42, TEMP: 103.5}
    return [
        (start + k * step, tag, round(base[tag] + 0.25 * ((k * (n + 2)) % 5), 3))
        for k in range(count)
        for n, tag in enumerate(TAGS)
    ]


def stamp(moment, pattern="%Y-%m-%d %H:%M:%S", zone=CHICAGO):
    return moment.astimezone(zone).strftime(pattern)


def number(value, decimal=".", thousands=""):
    text = f"{value:,.3f}".rstrip("0").rstrip(".") if thousands else f"{value!r}"
    table = {",": thousands, ".": decimal}
    return "".join(table.get(c, c) for c in text)


def long_text(rows, sep=",", time=stamp, value=number, head=("time", "tag", "value")):
    lines = [sep.join(head)] + [sep.join((time(t), tag, value(v))) for t, tag, v in rows]
    return "\n".join(lines) + "\n"


def wide_text(rows, sep=",", time=stamp, value=number, head=None, units=None, first="Time"):
    lines = [sep.join((first, *(head or TAGS)))]
    if units:
        lines.append(sep.join(("", *units)))
    for moment in sorted({t for t, _, _ in rows}):
        cells = {tag: value(v) for t, tag, v in rows if t == moment}
        lines.append(sep.join((time(moment), *(cells.get(tag, "") for tag in TAGS))))
    return "\n".join(lines) + "\n"


def expect(rows, refused=None, **more):
    """Expectation: readings may be (moment, tag, value) or with a reason."""
    readings = [
        [t.astimezone(UTC).isoformat(), tag, v, *(rest or (None,))] for t, tag, v, *rest in rows
    ]
    count = len(rows) + sum((refused or {}).values())
    return {"readings": readings, "rows": count, "refused": refused or {}, **more}


CASES: dict[str, tuple[bytes, dict]] = {}


def case(name, content, expectation):
    """Add a case; text becomes UTF-8."""
    assert name not in CASES, name
    CASES[name] = (content.encode() if isinstance(content, str) else content, expectation)


def packed_zip(files):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            info = zipfile.ZipInfo(name, (2025, 10, 14, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, data)
    return out.getvalue()


def workbook(*sheets):
    """Workbook of (name, writer) pairs; a writer gets workbook and sheet."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "remove_timezone": True})
    book.set_properties({"created": datetime(2025, 10, 14)})  # noqa: DTZ001 (a date of a file)
    for name, write in sheets:
        write(book, book.add_worksheet(name))
    book.close()
    return out.getvalue()


def frame(rows):
    return pl.DataFrame(rows, schema=["time", "tag", "value"], orient="row").with_columns(
        pl.col("time").cast(pl.Datetime("us", "UTC"))
    )
