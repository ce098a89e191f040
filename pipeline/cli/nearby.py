"""The description that is meant where none was named: the only one nearby."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from pipeline.base import ConfigError
from pipeline.words import said

_MILL: Final = re.compile(r"^\[mill\]\s*$", re.MULTILINE)
#: A description is a few kilobytes; what is much longer is something else [characters].
_LONGEST: Final = 1_000_000
_NAMED: Final = 4


def only_mill(command: str, here: Path | None = None) -> Path:
    """Description in this folder, or one folder down, where there is but one.

    Parameters
    ----------
    command : str
        What was typed, for the words that say how to go on.
    here : Path, optional
        Folder to look in; without one the one that commands are typed in.

    Raises
    ------
    ConfigError
        There is none, or more than one.
    """
    folder = here or Path.cwd()
    found = _descriptions(folder, "*.toml") or _descriptions(folder, "*/*.toml")
    if len(found) == 1:
        return found[0]
    if not found:
        raise ConfigError(
            said("No mill was named, and no description of one lies here."),
            str(folder),
            said(
                "Name the mill's TOML file: lostpol {command} MILL.toml; or try lostpol demo.",
                command=command,
            ),
        )
    named = ", ".join(str(path) for path in found[:_NAMED])
    raise ConfigError(
        said("No mill was named, and more than one lies here."),
        said("{few} and {more} more", few=named, more=len(found) - _NAMED)
        if len(found) > _NAMED
        else named,
        said("Name one of them: lostpol {command} {mill}", command=command, mill=found[0]),
    )


def _descriptions(folder: Path, pattern: str) -> list[Path]:
    try:
        paths = sorted(folder.glob(pattern))
    except OSError:
        return []
    return [
        path.relative_to(folder) if folder == Path.cwd() else path for path in paths if _is(path)
    ]


def _is(path: Path) -> bool:
    try:
        text = path.read_text(encoding="utf-8") if path.stat().st_size <= _LONGEST else ""
    except (OSError, UnicodeDecodeError):
        return False
    return _MILL.search(text) is not None
