"""Export files, opened and handed on in pieces of bounded size: Parquet and delimited text.

Text comes plain or gzipped. Everything in a text file stays text here; what it means is the
business of ``pipeline.readers_layout`` and ``pipeline.readers_values``.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import io
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import polars as pl

from pipeline.config_models import ExportLayout
from pipeline.errors import DataError

#: Characters of text and rows of Parquet handled at a time: about 200 MB of memory at most.
TEXT_BLOCK: Final = 1 << 25
PARQUET_ROWS: Final = 1 << 21

_DELIMITERS: Final = (";", "\t", ",", "|")
_SNIFF_BYTES: Final = 1 << 20
_GZIP: Final = b"\x1f\x8b"
_PARQUET: Final = b"PAR1"


@dataclass(frozen=True, slots=True)
class ExportFile:
    """One export file that could be opened.

    Attributes
    ----------
    path : Path
    is_text : bool
        Delimited text (False for Parquet).
    encoding, delimiter : str
        Of text files; empty for Parquet.
    """

    path: Path
    is_text: bool
    encoding: str = ""
    delimiter: str = ""


def open_export(path: Path, layout: ExportLayout | None) -> ExportFile:
    """Find out what kind of file this is, and how its text is written.

    Raises
    ------
    DataError
        No such file, no right to read it, empty, damaged, or neither Parquet nor text.
    """
    with _explained(path):
        with path.open("rb") as file:
            start = file.read(4)
        if start == _PARQUET:
            return ExportFile(path, is_text=False)
        with _decompressed(path) as plain:
            sample = plain.read(_SNIFF_BYTES)
        if not sample.strip():
            raise DataError("The export is empty.", str(path), "Export it again.")
        encoding = _encoding(sample, layout, path)
    first_line = sample.decode(encoding, errors="replace").splitlines()[0]
    delimiter = (layout.delimiter if layout else None) or _delimiter(first_line)
    return ExportFile(path, is_text=True, encoding=encoding, delimiter=delimiter)


def batches(export: ExportFile) -> Iterator[pl.DataFrame]:
    """Rows of the file in order, some at a time; all columns are String for a text file.

    Column names are stripped of blanks. Empty lines are not rows. The first batch of a file
    without rows has the columns and no rows.

    Raises
    ------
    DataError
        The file is damaged or ends in the middle.
    """
    with _explained(export.path):
        yield from _text_batches(export) if export.is_text else _parquet_batches(export)


def _parquet_batches(export: ExportFile) -> Iterator[pl.DataFrame]:
    scan = pl.scan_parquet(export.path, glob=False)
    rows = scan.select(pl.len()).collect().item()
    for offset in range(0, max(rows, 1), PARQUET_ROWS):
        yield _strip_names(scan.slice(offset, PARQUET_ROWS).collect())


def _text_batches(export: ExportFile) -> Iterator[pl.DataFrame]:
    with (
        _decompressed(export.path) as raw,
        io.TextIOWrapper(raw, encoding=export.encoding) as text,
    ):
        heading = text.readline().rstrip("\n") + "\n"
        rest, given = "", False
        while block := text.read(TEXT_BLOCK):
            block = rest + block
            cut = block.rfind("\n") + 1
            # A line break inside quotes is not the end of a row: wait for the closing quote.
            if block.count('"', 0, cut) % 2:
                cut = 0
            rest = block[cut:]
            if cut:
                yield _parse(heading + block[:cut], export)
                given = True
        if rest or not given:
            yield _parse(heading + rest, export)


def _parse(text: str, export: ExportFile) -> pl.DataFrame:
    """Split text into columns of strings."""
    frame = pl.read_csv(
        text.encode("utf-8"),
        separator=export.delimiter,
        infer_schema=False,
        raise_if_empty=False,
    )
    return _strip_names(frame.filter(~pl.all_horizontal(pl.all().is_null())))


def _strip_names(frame: pl.DataFrame) -> pl.DataFrame:
    """Column names without blanks around them, where that keeps them apart."""
    names = [name.strip() for name in frame.columns]
    return (
        frame.rename(dict(zip(frame.columns, names, strict=True)))
        if len(set(names)) == len(names)
        else frame
    )


def _encoding(sample: bytes, layout: ExportLayout | None, path: Path) -> str:
    """Encoding of a text file: from its first bytes, its layout, or by trial."""
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if b"\x00" in sample:
        raise DataError(
            "The file is neither text nor Parquet.",
            str(path),
            "Export it as CSV or Parquet; a spreadsheet has to be saved as CSV first.",
        )
    wanted = layout.encoding if layout else "utf-8"
    if wanted != "utf-8":
        return wanted
    try:
        # The sample may end inside a character: an incremental decoder does not mind.
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        if layout is not None:
            raise
        return "cp1252"
    return "utf-8-sig"


def _delimiter(first_line: str) -> str:
    """Delimiter that splits the headings into most columns; the first of equals wins."""
    return max(_DELIMITERS, key=lambda d: len(next(csv.reader([first_line], delimiter=d))))


def _decompressed(path: Path) -> IO[bytes]:
    """File opened for reading, unpacked when it is gzipped."""
    with path.open("rb") as file:
        packed = file.read(2) == _GZIP
    return io.BufferedReader(gzip.open(path)) if packed else path.open("rb")


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turn whatever goes wrong while reading into what, where and next."""
    again = "Export it again, then import it again."
    try:
        yield
    except FileNotFoundError as error:
        cure = "Check the name and the folder."
        raise DataError("There is no such export.", str(path), cure) from error
    except IsADirectoryError as error:
        cure = "Name the files inside it."
        raise DataError("This is a folder, not an export.", str(path), cure) from error
    except PermissionError as error:
        cure = "Ask for the right to read it."
        raise DataError("The export may not be read.", str(path), cure) from error
    except (gzip.BadGzipFile, EOFError, zlib.error) as error:
        what = "The gzipped export is damaged or cut short."
        raise DataError(what, str(path), again) from error
    except UnicodeDecodeError as error:
        what = f"The export is not {error.encoding} text (byte {error.start})."
        cure = 'Set encoding in its [[exports.layout]], for example encoding = "cp1252".'
        raise DataError(what, str(path), cure) from error
    except (pl.exceptions.PolarsError, OSError) as error:
        what = f"The export is damaged or cut short: {str(error).splitlines()[0]}"
        raise DataError(what, str(path), again) from error
