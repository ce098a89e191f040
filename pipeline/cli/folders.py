"""Folders named where exports are expected: the files in them that a layout is for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline.base import ConfigError
from pipeline.intake import files_in
from pipeline.layouts import layout_for
from pipeline.mill import Mill


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
                f"None of the {len(inside)} files of the folder fits a layout of the description.",
                str(path),
                "Name the exports themselves, or add a layout whose match fits them.",
            )
        if len(able) < len(inside):
            left = [f.name for f in inside if f not in set(able)]
            few = ", ".join(left[:5]) + (f" and {len(left) - 5} more" if len(left) > 5 else "")
            tell(
                f"In the folder {path.name}, no export that the description knows: {few}. Left out."
            )
        found += able
    return found
