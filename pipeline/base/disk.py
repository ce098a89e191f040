"""A disk that takes no more, told in one way whichever library met it; and one that has it all."""

from __future__ import annotations

import errno
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pipeline.base.errors import DiskError
from pipeline.base.message import figure, said

_ERRNOS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EIO})
#: What libraries write that pass the system's error on as text.
_WORDS: Final = (
    "no space left on device",
    "disk quota exceeded",
    "file too large",
    "read-only file system",
    "input/output error",
    "out of disk space",
)


def full_disk(error: BaseException, where: Path) -> DiskError | None:
    """Turn an error into one about the disk, when the disk is what it, or its cause, is about.

    Parameters
    ----------
    error : BaseException
        Of any library.
    where : Path
        File or folder that was written.
    """
    if isinstance(error, DiskError):
        return error
    phrase = next((text for text in map(_about_disk, _chain(error)) if text), None)
    if phrase is None:
        return None
    if "read-only" in phrase:
        cure = said("See why it may only be read (mount, failing disk)")
    else:
        cure = said(
            "Make a little room by hand first, outside the store: clearing up needs some, too. "
            "lostpol tidy MILL --dry-run then lists what can go"
        )
    return DiskError(
        said("The disk takes no writing: {phrase}.", phrase=phrase),
        said("{where} ({room})", where=where, room=_room(where)),
        said(
            "{cure}. Then run the same command again. What was stored before is as it was.",
            cure=cure,
        ),
    )


def free_bytes(where: Path) -> int | None:
    """Free space where a path lies or would lie [bytes], or None."""
    for folder in (where, *where.parents):
        if folder.exists():
            try:
                return shutil.disk_usage(folder).free
            except OSError:
                return None
    return None


def _room(where: Path) -> str:
    free = free_bytes(where)
    if free is None:
        return said("free space unknown")
    return said("{mib} MiB free", mib=figure(free / 2**20, ",.0f"))


def _about_disk(error: BaseException) -> str | None:
    text = str(error)
    if isinstance(error, OSError) and error.errno in _ERRNOS:
        return (error.strerror or text).lower()
    return next((words for words in _WORDS if words in text.lower()), None)


def _chain(error: BaseException) -> Iterator[BaseException]:
    seen: set[int] = set()
    now: BaseException | None = error
    while now is not None and id(now) not in seen:
        seen.add(id(now))
        yield now
        now = now.__cause__ or now.__context__


def flush_folder(folder: Path) -> None:
    """Wait until the disk has the names in a folder; Windows does so by itself."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
