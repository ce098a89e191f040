"""Tables of a view as files: CSV, XLSX, Parquet; and a page as PDF."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import polars as pl

from models.account import PeriodAccount, Tonnes
from pipeline.base import DataError
from pipeline.desk.address import Shown
from pipeline.desk.choose import findings_in, hours_chosen, touches
from pipeline.desk.desk import waiting
from pipeline.desk.kept import Kept
from pipeline.desk.lost import hours_lost
from pipeline.dossier import csv_bytes, parquet_bytes
from pipeline.period import Answer, notes_of
from pipeline.report import write_pdf
from pipeline.store import findings_frame
from pipeline.words import clean, figure, is_formula, said

_LONGEST: Final = 10_000
#: Rows that a sheet of a spreadsheet takes.
_MOST_ROWS: Final = 1_048_575
_DIGITS: Final = 6


def hours_table(kept: Kept, shown: Shown) -> pl.DataFrame:
    """Hours shown: sums with the 90 % interval of what lies above the unavoidable [t]."""
    known = kept.now()
    passes = pl.Series(hours_chosen(known.hours, shown.filters, kept.mill))
    inside = pl.col("hour").is_between(shown.window.start, shown.window.end, closed="left")
    hours = known.hours.filter(passes & known.hours.select(inside).to_series())
    local = pl.col("hour").dt.convert_time_zone(kept.mill.zone)
    return _hours(hours_lost(hours.drop_nulls("excess_t"), known.findings), local)


def _hours(sums: pl.DataFrame, local: pl.Expr) -> pl.DataFrame:
    tonnes = ("sucrose_fed_t", "unavoidable_t", "excess_t", "excess_low_t", "excess_high_t")
    return sums.select(
        pl.col("hour").alias("hour_utc"),
        local.dt.to_string("%Y-%m-%d %H:%M%:z").alias("hour_local"),
        *(pl.col(name).round_sig_figs(_DIGITS) for name in tonnes),
        pl.col("minutes"),
        pl.col("measured").alias("measured_minutes"),
        pl.col("stopped_min").alias("stopped_minutes"),
    )


def findings_table(kept: Kept, shown: Shown) -> pl.DataFrame:
    """Findings shown, with the columns of ``lostpol findings --out``."""
    found = findings_in(kept.now().findings, shown.filters, kept.mill)
    names = [row["finding_id"] for row in found if touches(row, shown.window)]
    return findings_frame(kept.mill).filter(pl.col("finding_id").is_in(names))


def waiting_table(kept: Kept) -> pl.DataFrame:
    """Findings that wait for a verdict, with the columns of ``lostpol findings --out``."""
    names = waiting(kept.now().findings)["finding_id"].to_list()
    return findings_frame(kept.mill).filter(pl.col("finding_id").is_in(names))


def notes_table(kept: Kept) -> pl.DataFrame:
    """What was noted beforehand."""
    names = ("note_id", "from_utc", "to_utc", "kind", "text", "by")
    rows = [(n.note_id, n.started, n.ended, n.kind, n.text, n.author) for n in notes_of(kept.mill)]
    text, moment = pl.String, pl.Datetime("us", "UTC")
    types = (text, moment, moment, text, text, text)
    return pl.DataFrame(rows, schema=dict(zip(names, types, strict=True)), orient="row")


def account_table(found: Answer) -> pl.DataFrame:
    """Account of a period, and of the other one: all together, by vessel, by driver [t]."""
    rows = _account_rows("this period", found.account)
    if found.beside is not None:
        rows += _account_rows("the other period", found.beside.account)
    return pl.DataFrame(rows, infer_schema_length=None)


def _account_rows(which: str, account: PeriodAccount) -> list[dict[str, Any]]:
    def row(
        part: str, name: str, lost: Tonnes | None, above: Tonnes, **more: float
    ) -> dict[str, Any]:
        return {
            "period": which, "from_utc": account.start, "to_utc": account.end,
            "part": part, "name": name,
            "lost_t": lost and lost.mid, "lost_low_t": lost and lost.low,
            "lost_high_t": lost and lost.high,
            "above_usual_t": above.mid, "above_usual_low_t": above.low,
            "above_usual_high_t": above.high,
            "usual_t": more.get("usual"), "target_t": more.get("target"),
            "sucrose_fed_t": more.get("fed"),
        }  # fmt: skip

    whole = row("all", "", account.lost, account.above_usual, usual=account.usual_t,
                target=account.target_t, fed=account.fed_t)  # fmt: skip
    vessels = [
        row("vessel", v.zone, v.lost, v.above_usual, usual=v.usual_t, target=v.target_t)
        for v in account.by_vessel
    ]
    return [whole, *vessels, *(row("driver", d.driver, None, d.above_usual)
                               for d in account.by_driver)]  # fmt: skip


def xlsx_bytes(frame: pl.DataFrame, about: Sequence[str]) -> bytes:
    """A frame as a workbook: foreign text is text, whatever it begins with.

    Raises
    ------
    DataError
        It has more rows than a sheet takes.
    """
    import xlsxwriter  # noqa: PLC0415

    if frame.height > _MOST_ROWS:
        raise DataError(
            said(
                "A sheet takes {most} rows, these are {rows}.",
                most=figure(_MOST_ROWS, ","),
                rows=figure(frame.height, ","),
            ),
            "XLSX",
            said("Take Parquet or CSV, or fewer hours."),
        )
    options = {
        "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False, "remove_timezone": True,
    }  # fmt: skip
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, options) as book:
        sheet = book.add_worksheet("View")
        head, moment = book.add_format({"bold": True, "bottom": 1}), book.add_format(
            {"num_format": "yyyy-mm-dd hh:mm"})  # fmt: skip
        guarded = book.add_format({"quote_prefix": True})
        for column, name in enumerate(frame.columns):
            sheet.write_string(0, column, clean(name, 200), head)
            put = _putter(sheet, column, moment, guarded)
            for row, value in enumerate(frame[name].to_list(), start=1):
                if value is not None:
                    put(row, value)
            sheet.set_column(column, column, 18)
        sheet.freeze_panes(1, 1)
        notes = book.add_worksheet("About")
        for row, line in enumerate(about):
            notes.write_string(row, 0, clean(line, _LONGEST))
    return buffer.getvalue()


def _putter(sheet: Any, column: int, moment: Any, guarded: Any) -> Callable[[int, Any], None]:  # noqa: ANN401
    def put(row: int, value: Any) -> None:  # noqa: ANN401
        if isinstance(value, str):
            text = clean(value, _LONGEST)
            sheet.write_string(row, column, text, guarded if is_formula(text) else None)
        elif isinstance(value, bool):
            sheet.write_boolean(row, column, value)
        elif isinstance(value, int | float):
            sheet.write_number(row, column, value)
        else:
            sheet.write_datetime(row, column, value, moment)

    return put


def file_of(frame: pl.DataFrame, kind: str, about: Sequence[str]) -> bytes:
    """A frame in one of the three forms."""
    if kind == "csv":
        return csv_bytes(frame)
    return parquet_bytes(frame) if kind == "parquet" else xlsx_bytes(frame, about)


def pdf_of(page: str) -> bytes:
    """A page as PDF.

    Raises
    ------
    DataError
        It cannot be made here.
    """
    with tempfile.TemporaryDirectory(prefix="lostpol-desk-") as folder:
        out = Path(folder) / "view.pdf"
        if why := write_pdf(out, page):
            raise DataError(
                said("There is no PDF: {why}", why=why),
                "PDF",
                said("Keep the HTML file, or print this page with the browser."),
            )
        return out.read_bytes()
