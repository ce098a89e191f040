"""Folders named where exports are expected: the files in them that a layout is for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline.base import ConfigError
from pipeline.intake import files_in
from pipeline.layouts import layout_for
from pipeline.mill import Mill
from pipeline.words import said


def exports_named(mill: Mill, paths: Sequence[Path], tell: Callable[[str], None]) -> list[Path]:
    """Files as named; of a folder, those that a layout of the description is for.

    Without a layout in the description all files of a folder count. What is left out is told.

    Raises
    ------
    ConfigError
        No file of a folder is such an export.
    """
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = files_in([path])
        layouts = mill.exports.layout
        able = [f for f in inside if not layouts or layout_for(f, layouts) is not None]
        if not able:
            raise ConfigError(
                said(
                    "None of the {inside} files of the folder fits a layout of the description.",
                    inside=len(inside),
                ),
                str(path),
                said("Name the exports themselves, or add a layout whose match fits them."),
            )
        if len(able) < len(inside):
            left = [f.name for f in inside if f not in set(able)]
            few = ", ".join(left[:5])
            if len(left) > 5:
                few = said("{few} and {more} more", few=few, more=len(left) - 5)
            tell(
                said(
                    "In the folder {folder}, no export that the description knows: {few}. Left "
                    "out.",
                    folder=path.name,
                    few=few,
                )
            )
        found += able
    return found
