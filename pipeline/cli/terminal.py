"""What commands show on a terminal: a bar for long work, tables, and errors in three lines."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.text import Text

from pipeline import base
from pipeline.base import LostpolError
from pipeline.cli.spoken import spoken
from pipeline.words import clean, said


class Screen(Console):
    """A console that lets the command end quietly when nobody reads on, as under ``head``."""

    def on_broken_pipe(self) -> None:
        """Leave it to who runs the command."""
        raise BrokenPipeError


#: Results go to standard output, bars and errors to standard error.
OUT: Final = Screen(soft_wrap=True, highlight=False)
ERR: Final = Screen(stderr=True, soft_wrap=True, highlight=False)
#: What stands beside a bar [characters].
_BESIDE_BAR: Final = 35
#: Spaces that Python calls unprintable and a terminal shows: French sets them before its colons.
_SPACES: Final = "\n\u00a0\u202f"
CAUTION: Final = said(
    "lostpol only advises and never writes to a control system. Hot juice and steam, lime and "
    "confined vessels can injure and kill: follow site procedures and local codes, and leave "
    "set-points and vessel entry to trained and licensed people."
)


def say(text: str, style: str = "") -> None:
    """Write one line to standard output; nothing in it is taken for a command to the terminal."""
    _lines(OUT, harmless(spoken(text)), style)


def note(text: str) -> None:
    """Write one line to standard error, where it does not get into what is piped on."""
    _lines(ERR, harmless(spoken(text)))


def show_error(error: LostpolError) -> None:
    """Write what, where and next to standard error, in the tongue of the command."""
    labels = spoken(_error_words("", "", "")).split("\n")
    further = "\n" + " " * len(labels[1])
    told = _error_words(error.what, error.where.replace("\n", further), error.next_step)
    _lines(ERR, harmless(spoken(told)))


def _error_words(what: str, where: str, next_step: str) -> str:
    return said(
        "What:  {what}\nWhere: {where}\nNext:  {next_step}",
        what=what,
        where=where,
        next_step=next_step,
    )


def _lines(screen: Console, words: str, style: str = "") -> None:
    screen.print(Text(folded(screen, words), style=style))


def folded(screen: Console, words: str) -> str:
    """Break lines between words where somebody looks; a path or a command is never cut."""
    if not screen.is_terminal:
        return words
    return "\n".join(
        textwrap.fill(line, screen.width, break_long_words=False, break_on_hyphens=False)
        for line in words.split("\n")
    )


def harmless(text: str) -> str:
    """Take out control characters: names in exports and files are untrusted."""
    return "".join(char if char in _SPACES or char.isprintable() else "?" for char in text)


@contextmanager
def progress_bar() -> Iterator[base.Progress]:
    """Give a listener that draws a bar; nothing is drawn where nobody looks."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(bar_width=max(5, min(40, ERR.width - _BESIDE_BAR))),
        TaskProgressColumn(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=ERR, transient=True, disable=not ERR.is_terminal) as bar:
        task = bar.add_task("", total=None)

        def listen(what: str, done: int, total: int) -> None:
            words = Text(clean(what, 60)).plain.replace("[", "(").replace("]", ")")
            bar.update(task, description=words, completed=done, total=max(total, 1))

        yield listen
