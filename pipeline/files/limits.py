"""How much one export may ask of the machine, and the errors that say so.

The limits are far above any honest export (estimates) and far below what hurts: whatever is
refused here is refused in seconds and with little memory, whatever the file claims to hold.
"""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import Final

from pipeline.base import DataError, figure, said

#: Longest row of a text file [characters], its quoted line breaks included.
LONGEST_ROW: Final = 1 << 20
#: Most columns of a table.
MOST_COLUMNS: Final = 2000
#: Unpacked bytes for each packed one; beyond the free allowance this is no export. Exports pack
#: 5 to 40 times, a still one up to about 150 times; bombs 1000 times and more.
MOST_UNPACKED: Final = 300
FREE_BYTES: Final = 1 << 26
#: Files in an archive, sheets in a workbook.
MOST_MEMBERS: Final = 1000
#: A workbook is held in memory whole: cells of one sheet, bytes of its unpacked parts.
MOST_CELLS: Final = 20_000_000
MOST_WORKBOOK_BYTES: Final = 1 << 29
#: An unpacked Parquet file or workbook inside an archive.
MOST_SPOOLED_BYTES: Final = 1 << 31
#: Rows that a byte of a Parquet file may stand for.
MOST_ROWS_PER_BYTE: Final = 50


def shown(text: str, most: int = 60) -> str:
    """Foreign text fit for a message."""
    return "".join(c if c.isprintable() else " " for c in text[:most])


def too_long_row(where: str) -> DataError:
    """Build the error for a row without an end."""
    return DataError(
        said(
            "The export has a row of more than {longest_row} characters: it is no table.",
            longest_row=figure(LONGEST_ROW, ","),
        ),
        where,
        said("Export it again with one row a line."),
    )


def check_columns(count: int, where: str) -> None:
    """Refuse a table too wide to be read."""
    if count > MOST_COLUMNS:
        raise DataError(
            said(
                "The export has {count} columns; at most {most_columns} are read.",
                count=figure(count, ","),
                most_columns=figure(MOST_COLUMNS, ","),
            ),
            where,
            said("Export fewer tags at a time, or in long form: time, tag, value."),
        )


def check_unpacked(unpacked: int, packed: int, where: str) -> None:
    """Refuse packed data that unpacks to far more than any export does."""
    if unpacked > FREE_BYTES and unpacked > MOST_UNPACKED * packed:
        raise DataError(
            said(
                "The export unpacks to more than {most_unpacked} times its size: it is no export.",
                most_unpacked=MOST_UNPACKED,
            ),
            where,
            said("Ask where the file comes from; export it again, or unpack it yourself first."),
        )


def check_member(name: str, archive: str) -> None:
    """Refuse an archive whose entry leads out of the folder it is unpacked to."""
    plain = name.replace("\\", "/")
    path = PurePosixPath(plain)
    if path.is_absolute() or ".." in path.parts or plain[1:2] == ":":
        raise DataError(
            said(
                'The archive has an entry that leads out of its folder: "{name}".',
                name=shown(name, 80),
            ),
            archive,
            said("Ask where the archive comes from; pack the exports again by their plain names."),
        )
