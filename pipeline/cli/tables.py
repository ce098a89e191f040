"""Tables on a terminal: boxes where there is room, blocks where it is narrow, lines in a pipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rich.table import Table
from rich.text import Text

from pipeline.cli.spoken import spoken
from pipeline.cli.terminal import OUT, harmless

#: Narrower than this, columns break words in the middle [characters].
ROOM: Final = 66


@dataclass(frozen=True, slots=True)
class Column:
    """Heading of a column, and to which side it leans."""

    name: str
    side: str = "left"


def show_table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    title: str = "",
    *,
    lines: bool = False,
) -> None:
    """Write a table as the reader can use it.

    In a pipe each row is one line, its cells parted by tabs, the headings first.

    Parameters
    ----------
    columns : sequence of Column
    rows : sequence of sequence of str
        Cells; a line break inside one is kept in a box.
    title : str
    lines : bool
        Draw lines between rows.
    """
    if not OUT.is_terminal:
        for row in ([column.name for column in columns], *rows):
            # Past the screen, which would make blanks of the tabs.
            OUT.file.write("\t".join(_flat(cell) for cell in row) + "\n")
    elif OUT.width < ROOM:
        _blocks(columns, rows, title)
    else:
        _boxes(columns, rows, title, lines=lines)


def _flat(cell: str) -> str:
    return harmless(" ".join(spoken(cell).split()))


def _blocks(columns: Sequence[Column], rows: Sequence[Sequence[str]], title: str) -> None:
    if title:
        OUT.print(Text(spoken(title), style="italic"), soft_wrap=False)
    for row in rows:
        first, *rest = zip(columns, row, strict=True)
        OUT.print(Text(_named(*first), style="bold"), soft_wrap=False)
        for column, cell in rest:
            if cell:
                OUT.print(Text(f"  {_named(column, cell)}"), soft_wrap=False)


def _named(column: Column, cell: str) -> str:
    return f"{spoken(column.name)}: {_flat(cell)}" if column.name else _flat(cell)


def _boxes(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], title: str, *, lines: bool
) -> None:
    table = Table(title=spoken(title) or None, show_lines=lines)
    for column in columns:
        table.add_column(Text(spoken(column.name)), justify=column.side)  # type: ignore[arg-type]
    for row in rows:
        table.add_row(*(Text(harmless(spoken(cell))) for cell in row))
    OUT.print(table)
