"""The command line itself, before it has commands: ``pipeline.cli.app`` gives it those.

What tells of all commands asks here, since it is a command too and cannot ask who holds it.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any, TypeVar

from cyclopts import App

CommandT = TypeVar("CommandT", bound=Callable[..., Any])


def _version() -> str:
    """Version of lostpol; what looks it up is loaded only when somebody asks."""
    from importlib.metadata import version  # noqa: PLC0415

    return version("lostpol")


app = App(
    name="lostpol",
    version=_version,
    help=(
        "Finds hidden sucrose loss in juice clarification from historian exports and lab "
        "results. Start with: lostpol demo"
    ),
    help_format="plaintext",
    suppress_keyboard_interrupt=False,  # it ends with a word: pipeline.cli.app.run
)


def command(function: CommandT) -> CommandT:
    """Give the command line a command; its help breaks lines where the terminal ends.

    What draws help keeps the line breaks of a docstring and breaks lines again beside them.
    """
    function.__doc__ = in_whole_paragraphs(function.__doc__)
    app.command(function)
    return function


def in_whole_paragraphs(docstring: str | None) -> str | None:
    """Write each paragraph of a docstring, and each explanation of a parameter, in one line."""
    if docstring is None:
        return None
    lines: list[str] = []
    for line in inspect.cleandoc(docstring).split("\n"):
        before = lines[-1] if lines else ""
        same = _inward(before) == _inward(line)
        if line.strip() and before.strip() and same and not _is_rule(line) and not _is_rule(before):
            lines[-1] = f"{before} {line.strip()}"
        else:
            lines.append(line)
    return "\n".join(lines)


def _inward(line: str) -> int:
    return len(line) - len(line.lstrip())


def _is_rule(line: str) -> bool:
    return bool(line.strip()) and set(line.strip()) == {"-"}
