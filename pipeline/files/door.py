"""The one door that everything raised while an export is read has to pass.

Exports are foreign: any of them may make a library below fail in a way of its own, with errors of
the operating system, of a decompressor, or with a panic of compiled code that is not even an
``Exception``. Whatever it is, it costs that export and nothing else: it becomes a `DataError` with
a reason. Only what was not raised because of the file passes as it is: our own errors, a full
disk, and a person or the system ending the program.
"""

from __future__ import annotations

import gzip
import zipfile
import zlib
from asyncio import CancelledError
from collections.abc import Iterator
from contextlib import contextmanager
from lzma import LZMAError
from pathlib import Path
from typing import Final

from pipeline.base import Answer, DataError, LostpolError, StoppedError, full_disk, said

#: Not raised because of what the file holds.
PASSING: Final = (
    LostpolError,
    StoppedError,
    KeyboardInterrupt,
    SystemExit,
    GeneratorExit,
    CancelledError,
)
_AGAIN: Final = said("Export it again, then import it again.")
_CHARS: Final = 200


@contextmanager
def explained(where: str) -> Iterator[None]:
    """Turn whatever goes wrong while reading into what, where and next.

    Raises
    ------
    DataError
        For anything the file is the cause of.
    DiskError
        What is unpacked to be read found no room on the disk.
    """
    try:
        yield
    except PASSING:
        raise
    except BaseException as error:  # a panic of compiled code is no Exception
        if isinstance(error, OSError) and (
            full := full_disk(error, Path(where.split("\n", maxsplit=1)[0]))
        ):
            raise full from error
        what, cure = _reason(error)
        other = Answer({"encoding": "cp1252"}, said("text of western Windows"))
        answers = [other] if isinstance(error, UnicodeDecodeError) else ()
        raise DataError(what, where, cure, answers) from error


#: What happened and what to do, by class of error.
_REASONS: Final[tuple[tuple[tuple[type[BaseException], ...], str, str], ...]] = (
    (
        (FileNotFoundError,),
        said("There is no such export."),
        said("Check the name and the folder."),
    ),
    (
        (IsADirectoryError,),
        said("This is a folder, not an export."),
        said("Name the files inside it."),
    ),
    (
        (PermissionError,),
        said("The export may not be read."),
        said("Ask for the right to read it."),
    ),
    (
        (gzip.BadGzipFile, EOFError, zlib.error, LZMAError),
        said("The packed export is damaged or cut short."),
        _AGAIN,
    ),
    (
        (zipfile.BadZipFile, zipfile.LargeZipFile),
        said("The archive is damaged or packed oddly."),
        _AGAIN,
    ),
    (
        (MemoryError,),
        said("The export asks for more memory than there is."),
        said("Export a shorter period, or in long form: time, tag, value."),
    ),
)


def _reason(error: BaseException) -> tuple[str, str]:
    """What happened and what to do, in words."""
    for kinds, what, cure in _REASONS:
        if isinstance(error, kinds):
            return what, cure
    if isinstance(error, UnicodeDecodeError):
        what = said(
            "The export is not {encoding} text (byte {start}).",
            encoding=error.encoding,
            start=error.start,
        )
        cure = said('Set encoding in its [[exports.layout]], for example encoding = "cp1252".')
        return what, cure
    return said("The export is damaged or cut short: {why}", why=_told(error)), _AGAIN


def _told(error: BaseException) -> str:
    """What a library says of its error, in a line; else what it calls it."""
    try:
        lines = str(error).split("\n")
    except Exception:  # noqa: BLE001 (an error that cannot even say what it is)
        lines = []
    text = next((line.strip() for line in lines if line.strip()), "")
    text = "".join(c if c.isprintable() else " " for c in text[:_CHARS])
    return text or type(error).__name__
