"""Files that nobody but the user who runs lostpol may read: those of a store.

A store tells of a plant, and of what people said of it. What is made in it gets the rights 0600,
folders 0700, whatever the machine gives new files: this is asked of the system once for the whole
process, so that files of libraries (journals, temporary copies) and of programs it starts get
the same. Rights of an inherited access list go before it, as on any system. On Windows, where
folders hand their rights down, nothing is done.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final, Literal

#: Who may read the published copy beside the user who runs lostpol.
Readers = Literal["owner", "group", "everyone"]
#: Rights of the published copy. Nobody may write to it: a client that opened it for writing would
#: leave a journal that belongs to no later copy.
_COPY: Final[dict[Readers, int]] = {"owner": 0o400, "group": 0o440, "everyone": 0o444}
#: Rights to pass through the store's folder, not to list it.
_PASSAGE: Final[dict[Readers, int]] = {"owner": 0, "group": 0o010, "everyone": 0o011}
_OTHERS: Final = 0o077


def keep_private() -> None:
    """Let this process, and those it starts, make files for its own user alone from now on."""
    if sys.platform != "win32":
        os.umask(_OTHERS)


def private_folder(folder: Path, readers: Readers = "owner") -> None:
    """Make a folder of a store, with those above it; see `keep_private`.

    Parameters
    ----------
    folder : Path
        One that is there keeps its rights, but that readers get to pass through it.
    readers : {"owner", "group", "everyone"}
        Who must get to the published copy in it.
    """
    keep_private()
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    passage = _PASSAGE[readers]
    if not passage or sys.platform == "win32":
        return
    for path in dict.fromkeys((folder, *missing)):
        mode = path.stat().st_mode
        if mode & passage != passage:
            path.chmod((mode & 0o7777) | passage)


def copy_rights(readers: Readers) -> int:
    """Rights of the published copy of a store."""
    return _COPY[readers]


def open_to_others(path: Path) -> bool:
    """Tell whether others than its user may read or write a file, or list a folder."""
    if sys.platform == "win32":
        return False
    listed = 0o066 if path.is_dir() else _OTHERS
    return bool(path.stat().st_mode & listed)
