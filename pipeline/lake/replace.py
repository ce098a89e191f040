"""Giving a finished file its name."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def replace_file(part: Path, path: Path) -> None:
    """Give a finished file its name, in one step that a power cut cannot halve."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part.replace(path)
    # The new name is safe from a power cut only once its folder is on disk too. Systems that
    # cannot open a folder do this on their own.
    with suppress(OSError):
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
