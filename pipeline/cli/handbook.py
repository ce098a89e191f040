"""The command that writes the handbook; light to import, as all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.words import said

if TYPE_CHECKING:
    from pipeline.handbook import Command


def handbook(*, out: Path | None = None) -> None:
    """Write the handbook: every command, key, table and document on one page to search.

    One HTML file, lostpol_handbook.html, made from lostpol's own sources; it needs no network. The
    desk shows the same page. In English only.

    Parameters
    ----------
    out
        Folder to write it into; without it, the one you are in.
    """
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.handbook import write_handbook  # noqa: PLC0415

    say(said("Written: {out}", out=write_handbook(all_commands(), out or Path.cwd())))


def all_commands() -> tuple[Command, ...]:
    """What the command line can do."""
    from pipeline.cli.line import app  # noqa: PLC0415
    from pipeline.handbook import commands_of  # noqa: PLC0415

    return commands_of(app)
