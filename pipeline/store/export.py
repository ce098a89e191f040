"""Findings as a file for spreadsheets and programs: CSV, XLSX or Parquet.

Notes, tag names and whatever else came from outside stay text: characters that no table can hold
are replaced, and a text that a spreadsheet would take for a formula gets an apostrophe in front
in CSV, and is a cell of type text in XLSX. Numbers are kept to six digits, more than is known.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import polars as pl

from features.base import TIME, Column, Columns, polars_schema
from models.find import FINDING_COLUMNS
from pipeline.base import ConfigError
from pipeline.mill import Mill
from pipeline.store.folders import published_store_of
from pipeline.store.learning import belonging
from pipeline.words import clean, is_formula, read_evidence, said

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook

_TEXT: Final = pl.String()
_NUMBER: Final = pl.Float64()
_LOCAL: Final = pl.Datetime("us")
_DIGITS: Final = 6
#: Longest text of one cell; a spreadsheet takes 32,767 characters.
_LONGEST: Final = 10_000

EXPORT_COLUMNS: Final[Columns] = {
    "rank": FINDING_COLUMNS["rank"],
    "finding_id": Column.text("Name of the finding, the same in every run."),
    "mill": Column.text("Name of the mill."),
    "section": FINDING_COLUMNS["section"],
    "cause": FINDING_COLUMNS["cause"],
    "status": Column.text("open (to the end of data) or ended."),
    "mark": FINDING_COLUMNS["mark"],
    "verdict": Column.text("confirmed, dismissed, fixed, look_again; empty: nothing yet."),
    "started_local": Column(_LOCAL, "plant-local time", FINDING_COLUMNS["started"].description),
    "ended_local": Column(_LOCAL, "plant-local time", FINDING_COLUMNS["ended"].description),
    "time_zone": Column.text("IANA zone of the plant-local times."),
    "started_utc": FINDING_COLUMNS["started"],
    "ended_utc": FINDING_COLUMNS["ended"],
    "duration_h": Column.number("h", "How long it lasted."),
    **{name: FINDING_COLUMNS[name] for name in ("lost_t", "lost_t_low", "lost_t_high", "lost_pct")},
    "worth": Column.number("currency", "lost_t at the mill's price of sucrose."),
    "worth_low": Column.number("currency", "Lower end of the 90 % interval."),
    "worth_high": Column.number("currency", "Upper end of the 90 % interval."),
    "currency": Column.text("ISO 4217 code."),
    **{name: FINDING_COLUMNS[name] for name in ("confidence", "p_value", "q_value")},
    "facts": Column.text("The first facts that carry the cause."),
    "alternatives": Column.text("Other causes considered, with their weight."),
    "verdict_note": Column.text("Why, in the words of who gave the verdict."),
    "verdict_by": Column.text("Who gave it."),
    "verdict_at_utc": Column.moment("When it was given."),
    "first_seen_utc": Column.moment("End of data of the run that first found it."),
    "last_seen_utc": Column.moment("End of data of the run that last judged it."),
    "run_id": Column.text("Run that last wrote it."),
}


def export_findings(mill: Mill, out: Path) -> int:
    """Write all findings to a file; its ending chooses the form. An older file is replaced.

    Returns
    -------
    int
        Findings written.

    Raises
    ------
    ConfigError
        The ending is unknown or the file cannot be written.
    """
    write = _WRITERS.get(out.suffix.lower())
    if write is None:
        cure = said("Name a file that ends in {writers}.", writers=", ".join(_WRITERS))
        raise ConfigError(said("Findings cannot be written in this form."), f"--out {out}", cure)
    frame = findings_frame(mill)
    part = out.with_name(f".{out.name}.part{out.suffix}")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        write(frame, part, mill)
        os.replace(part, out)  # noqa: PTH105 - replaces on every system
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise ConfigError(
            said("The findings could not be written."),
            f"{out}: {error.strerror or error}",
            said("Close the file where it is open, free space, or name another file."),
        ) from error
    return frame.height


def findings_frame(mill: Mill) -> pl.DataFrame:
    """Findings, first rank first, with the columns of `EXPORT_COLUMNS`."""
    store = published_store_of(mill)
    found = store.findings()
    own = belonging(found.to_dicts(), store.verdicts().to_dicts())
    rows = [_row(mill, row, own.get(row["finding_id"])) for row in found.to_dicts()]
    schema = polars_schema(EXPORT_COLUMNS)
    frame = pl.DataFrame(rows, schema=schema)
    numbers = [name for name, kind in schema.items() if kind == _NUMBER]
    return frame.with_columns(pl.col(numbers).round_sig_figs(_DIGITS))


def _row(mill: Mill, row: dict[str, Any], verdict: dict[str, Any] | None) -> dict[str, Any]:
    evidence = read_evidence(row["evidence"])
    price = row["value"] / row["lost_t"] if row["lost_t"] else 0.0
    made = {name: row.get(name) for name in EXPORT_COLUMNS} | {
        "mill": mill.name,
        "time_zone": mill.zone,
        "duration_h": (row["ended"] - row["started"]).total_seconds() / 3600.0,
        "worth": row["value"],
        "worth_low": price * row["lost_t_low"],
        "worth_high": price * row["lost_t_high"],
        "facts": "; ".join(evidence.facts),
        "alternatives": "; ".join(evidence.alternatives),
        "first_seen_utc": row["first_seen"],
        "last_seen_utc": row["last_seen"],
    }
    for name in ("started", "ended"):
        made[f"{name}_utc"] = row[name]
        made[f"{name}_local"] = row[name].astimezone(mill.tz).replace(tzinfo=None)
    if verdict is not None:
        made |= {"verdict_note": verdict["note"], "verdict_by": verdict["author"]}
        made["verdict_at_utc"] = verdict["given_at"]
    return {name: _harmless(value) for name, value in made.items()}


def _harmless(value: object) -> object:
    return clean(value, _LONGEST) if isinstance(value, str) else value


def _write_csv(frame: pl.DataFrame, path: Path, _mill: Mill) -> None:
    """Comma-separated, UTF-8; UTC with a Z, plant-local time without."""
    texts = [name for name, kind in frame.schema.items() if kind == _TEXT]
    guarded = frame.with_columns(
        pl.col(texts).map_elements(
            lambda text: f"'{text}" if is_formula(text) else text, return_dtype=_TEXT
        )
    )
    local = [name for name, kind in frame.schema.items() if kind == _LOCAL]
    utc = [name for name, kind in frame.schema.items() if kind == TIME]
    guarded.with_columns(
        pl.col(local).dt.strftime("%Y-%m-%d %H:%M:%S"),
        pl.col(utc).dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
    ).write_csv(path)


def _write_parquet(frame: pl.DataFrame, path: Path, _mill: Mill) -> None:
    frame.write_parquet(path)


def _write_xlsx(frame: pl.DataFrame, path: Path, mill: Mill) -> None:
    """One sheet of findings, one that explains its columns."""
    import xlsxwriter  # noqa: PLC0415

    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    try:
        with xlsxwriter.Workbook(path, options) as book:
            last = frame["last_seen_utc"].max()
            if isinstance(last, datetime):  # no clock: the same findings are the same file
                book.set_properties({"created": last.replace(tzinfo=None)})
            _sheet_of_findings(book, frame)
            _sheet_about(book, mill)
    except xlsxwriter.exceptions.FileCreateError as error:
        raise OSError(str(error)) from error


def _sheet_of_findings(book: Workbook, frame: pl.DataFrame) -> None:
    sheet = book.add_worksheet("Findings")
    head = book.add_format({"bold": True, "bottom": 1})
    moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    plain, guarded = book.add_format(), book.add_format({"quote_prefix": True})
    for column, (name, kind) in enumerate(frame.schema.items()):
        sheet.write_string(0, column, name, head)
        for row, value in enumerate(frame[name].to_list(), start=1):
            if value is None:
                continue
            if kind == _TEXT:
                sheet.write_string(row, column, value, guarded if is_formula(value) else plain)
            elif kind in (_LOCAL, TIME):
                sheet.write_datetime(row, column, value.replace(tzinfo=None), moment)
            else:
                sheet.write_number(row, column, value)
        wide = 18 if kind in (_LOCAL, TIME) else min(max(len(name) + 2, 10), 18)
        sheet.set_column(column, column, wide)
    sheet.freeze_panes(1, 2)
    sheet.autofilter(0, 0, max(frame.height, 1), frame.width - 1)


def _sheet_about(book: Workbook, mill: Mill) -> None:
    sheet = book.add_worksheet("About")
    head = book.add_format({"bold": True})
    intro = [
        f"Findings of {clean(mill.name)}, most worth acting on first.",
        f"Columns that end in _local are the clock of the mill ({mill.zone}); _utc is UTC.",
        "lostpol only advises. Work on hot juice, steam, lime and confined vessels follows site "
        "procedures and local codes and is for trained and licensed people.",
    ]
    for row, text in enumerate(intro):
        sheet.write_string(row, 0, text)
    top = len(intro) + 1
    for column, text in enumerate(("Column", "Unit", "Meaning")):
        sheet.write_string(top, column, text, head)
    for row, (name, described) in enumerate(EXPORT_COLUMNS.items(), start=top + 1):
        for column, text in enumerate((name, described.unit, described.description)):
            sheet.write_string(row, column, text)
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 28)
    sheet.set_column(2, 2, 70)


_WRITERS: Final[dict[str, Callable[[pl.DataFrame, Path, Mill], None]]] = {
    ".csv": _write_csv,
    ".xlsx": _write_xlsx,
    ".parquet": _write_parquet,
}
