"""Export files, opened and handed on in pieces of bounded size: Parquet, workbooks and text.

Text comes plain, or packed by gzip, zstandard or zip. Everything in a text file or a workbook
stays text here; what it means is the business of the other ``pipeline.readers_*``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import Answer, DataError, figure, said
from pipeline.files.archives import is_archive, is_packed, is_workbook, members, spooled, unpacked
from pipeline.files.door import explained
from pipeline.files.head import Head, find_head
from pipeline.files.limits import MOST_ROWS_PER_BYTE, check_columns, shown
from pipeline.files.parquet_units import column_units
from pipeline.files.sheets import Sheet, read_workbook
from pipeline.files.text import TextTable, open_text, text_batches
from pipeline.mill import ExportLayout

#: Characters of text and rows of Parquet handled at a time: some 400 MB of memory at most.
TEXT_BLOCK: Final = 1 << 24
PARQUET_ROWS: Final = 1 << 21

_PARQUET: Final = b"PAR1"
#: Columns that a layout may name though no table has them: the name of the sheet, or of the entry
#: of an archive, and that of the file, without their endings.
SHEET_NAME: Final = "{sheet}"
FILE_NAME: Final = "{file}"
_ENDINGS: Final = r"(?i)(?:\.(?:csv|txt|tsv|dat|xlsx?|parquet|gz|zip|zst|zstd))+$"


@dataclass(frozen=True, slots=True)
class ExportFile:
    """One table of an export that could be opened.

    Attributes
    ----------
    path : Path
        File to read; inside an archive a copy that lives as long as the archive is read.
    where : str
        File, and entry or sheet, for messages.
    head : Head or None
        Headings and units (None for Parquet, which names its columns itself).
    text : TextTable or None
        How delimited text is written.
    sheet : Sheet or None
        Cells of a sheet.
    units : mapping of str to str
        Units that a Parquet file states of its columns.
    told : mapping of str to str
        Columns that every row has beside its own: names of sheet and file, where a layout asks.
    notes : tuple of str
        What of the file was not opened, for the person.
    """

    path: Path
    where: str
    head: Head | None = None
    text: TextTable | None = field(default=None)
    sheet: Sheet | None = field(default=None, repr=False)
    units: Mapping[str, str] = field(default_factory=dict)
    told: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def called(self) -> tuple[str, ...]:
        """Names that may say what is in it, the nearest first: sheet, entry, file."""
        inner = self.where.partition("\n")[2].splitlines()
        parts = [part.removeprefix("its sheet ").removeprefix("its entry ") for part in inner]
        names = [*reversed(parts), self.where.partition("\n")[0]]
        return tuple(name.replace("\\", "/").rsplit("/", 1)[-1] for name in names)

    @property
    def path_called(self) -> str:
        """Name of the file itself."""
        return self.called[-1]

    @property
    def is_text(self) -> bool:
        """Delimited text."""
        return self.text is not None

    @property
    def encoding(self) -> str:
        """Encoding of delimited text, else empty."""
        return self.text.encoding if self.text else ""

    @property
    def delimiter(self) -> str:
        """Delimiter of delimited text, else empty."""
        return self.text.delimiter if self.text else ""

    @property
    def form(self) -> str:
        """What kind of table it is, in a word."""
        return "text" if self.text else ("sheet" if self.sheet else "Parquet")


@contextmanager
def export_tables(path: Path, layout: ExportLayout | None) -> Iterator[Iterator[ExportFile]]:
    """Tables of an export, one after the other, for as long as the context lasts.

    A text or Parquet file is one table, a workbook one a sheet, an archive those of its entries.
    Sheets without a column of moments are notes, not tables, as long as one sheet has it.

    Raises
    ------
    DataError
        No such file, no right to read it, empty, damaged, neither text nor Parquet nor a
        workbook, or larger than any export.
    """
    with ExitStack() as stack:
        yield (_named(table, layout) for table in _tables(path, str(path), layout, stack))


def batches(export: ExportFile) -> Iterator[pl.DataFrame]:
    """Rows of a table in order, some at a time; all columns are String except in Parquet.

    Column names are stripped of blanks. Empty lines are not rows. The first batch of a table
    without rows has the columns and no rows. A Boolean column ``EXTRA`` appears where rows have
    more cells than the headings.

    Raises
    ------
    DataError
        The file is damaged or ends in the middle.
    """
    told = [pl.lit(text).alias(name) for name, text in export.told.items()]
    with explained(export.where):
        for rows in _rows(export):
            yield rows.with_columns(told) if told else rows


def _rows(export: ExportFile) -> Iterator[pl.DataFrame]:
    """Rows of a table as they stand."""
    if export.text is not None and export.head is not None:
        yield from text_batches(export.path, export.text, export.head, TEXT_BLOCK, export.where)
    elif export.sheet is not None and export.head is not None:
        yield export.sheet.frame(export.head.names, export.head.first_row)
    else:
        yield from _parquet_batches(export)


def _named(table: ExportFile, layout: ExportLayout | None) -> ExportFile:
    """The table with the names that its layout counts among the columns of the series."""
    stem = re.sub(_ENDINGS, "", table.path_called)
    names = {SHEET_NAME: re.sub(_ENDINGS, "", table.called[0]), FILE_NAME: stem}
    asked = {key: names[key] for key in names if layout and key in layout.tag_columns}
    return replace(table, told=asked) if asked else table


def _tables(
    path: Path, where: str, layout: ExportLayout | None, stack: ExitStack, *, inside: bool = False
) -> Iterator[ExportFile]:
    """Tables of one file; `inside` an archive no further archive is opened."""
    with explained(where):
        with path.open("rb") as file:
            start = file.read(4)
        if start == _PARQUET:
            yield _parquet_table(path, where)
        elif not is_archive(path):
            yield _text_table(path, "", where, layout)
        elif is_workbook(path):
            yield from _sheet_tables(path, where, layout)
        elif inside:
            what = said("The archive holds another archive.")
            raise DataError(what, where, said("Unpack the inner one first."))
        else:
            for member in members(path, layout.sheets if layout else ()):
                yield from _member_tables(path, member, layout, stack)


def _member_tables(
    path: Path, member: str, layout: ExportLayout | None, stack: ExitStack
) -> Iterator[ExportFile]:
    """Tables of one entry of an archive."""
    where = said("{path}\nits entry {member}", path=path, member=shown(member, 80))
    with explained(where):
        with unpacked(path, member) as stream:
            start = stream.read(4)
        if start == _PARQUET or start[:2] == b"PK":
            copy = stack.enter_context(spooled(path, member))
            yield from _tables(copy, where, layout, stack, inside=True)
        elif is_packed(start):
            what = said("The archive holds another packed file.")
            raise DataError(what, where, said("Unpack the inner one first."))
        else:
            yield _text_table(path, member, where, layout)


def _text_table(path: Path, member: str, where: str, layout: ExportLayout | None) -> ExportFile:
    text, rows = open_text(path, member, where, layout)
    head = find_head(rows, layout.heading_row - 1 if layout and layout.heading_row else None)
    check_columns(len(head.names), where)
    return ExportFile(path, where, head, text=text)


def _sheet_tables(path: Path, where: str, layout: ExportLayout | None) -> Iterator[ExportFile]:
    decimal = layout.decimal if layout and "decimal" in layout.model_fields_set else None
    wanted = layout.sheets if layout else ()
    found, unseen = [], []
    for sheet in read_workbook(path, where, decimal):
        if wanted and not any(fnmatchcase(sheet.name.casefold(), w.casefold()) for w in wanted):
            continue
        if sheet.hidden and not wanted:
            unseen.append(shown(sheet.name, 40))
            continue
        heading = layout.heading_row - 1 if layout and layout.heading_row else None
        head = find_head(sheet.rows, heading)
        if upper := sheet.upper_heading(head.heading_row):
            head = find_head(sheet.rows, head.heading_row, upper)
        inner = said("{where}\nits sheet {name}", where=where, name=shown(sheet.name, 80))
        found.append(ExportFile(path, inner, head, sheet=sheet))
    if not found and unseen:
        what = said(
            "All sheets of the workbook are hidden: {unseen}.", unseen=", ".join(unseen[:5])
        )
        cure = said(
            'Name those to read: sheets = ["{unseen}"] in its [[exports.layout]].', unseen=unseen[0]
        )
        raise DataError(
            what, where, cure, [Answer({"sheets": unseen}, said("read the hidden sheets"))]
        )
    if not found:
        cure = said("Check the names of its sheets and sheets = [...] in its [[exports.layout]].")
        raise DataError(said("The workbook holds no sheet to read."), where, cure)
    sure = [table for table in found if table.head is not None and table.head.sure]
    first, *others = sure or found[:1]
    notes = [f'The hidden sheet "{name}" was not read; sheets = [...] names it.' for name in unseen]
    yield replace(first, notes=tuple(notes))
    yield from others


def _parquet_table(path: Path, where: str) -> ExportFile:
    scan = pl.scan_parquet(path, glob=False)
    check_columns(len(scan.collect_schema()), where)
    rows = scan.select(pl.len()).collect().item()
    if rows > PARQUET_ROWS and rows > MOST_ROWS_PER_BYTE * path.stat().st_size:
        raise DataError(
            said(
                "The export claims {rows} rows, far more than its size can hold.",
                rows=figure(rows, ","),
            ),
            where,
            said("Ask where the file comes from; export it again."),
        )
    return ExportFile(path, where, units=column_units(path))


def _parquet_batches(export: ExportFile) -> Iterator[pl.DataFrame]:
    scan = pl.scan_parquet(export.path, glob=False)
    schema = scan.collect_schema()
    plain = [
        pl.col(name).cast(pl.String)
        if isinstance(kind, pl.Categorical | pl.Enum)
        else pl.col(name).cast(pl.Float64)
        for name, kind in schema.items()
        if isinstance(kind, pl.Categorical | pl.Enum | pl.Decimal)
    ]
    rows = scan.select(pl.len()).collect().item()
    for offset in range(0, max(rows, 1), PARQUET_ROWS):
        yield _strip_names(scan.slice(offset, PARQUET_ROWS).with_columns(plain).collect())


def _strip_names(frame: pl.DataFrame) -> pl.DataFrame:
    """Column names without blanks around them, where that keeps them apart."""
    names = [name.strip() for name in frame.columns]
    return (
        frame.rename(dict(zip(frame.columns, names, strict=True)))
        if len(set(names)) == len(names)
        else frame
    )
