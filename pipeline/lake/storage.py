"""Where a lake lies: in a folder, or at the URL of an object store. What differs is told here.

A file of the lake goes by its name below the root, such as
``readings/date=2025-10-06/readings.parquet``, and is there whole or not at all:

- in a folder it is written beside its place, flushed to the disk and renamed;
- in an object store, which knows no renaming, it is sent straight to its name: one PUT is whole
  or does not happen (``pipeline.lake.objects``).
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from glob import glob
from pathlib import Path
from typing import BinaryIO, Final, Protocol

from pipeline.base import DataError, LakeError, full_disk, private_folder, said
from pipeline.lake.replace import replace_file

#: Behind the name of a file that is not finished.
PART: Final = ".part"


class Storage(Protocol):
    """Where the files of a lake lie; names are relative, with forward slashes."""

    @property
    def root(self) -> Path | str:
        """Folder, or URL."""

    @property
    def far(self) -> bool:
        """Whether an answer takes so long that several are better asked for at once."""

    def where(self, name: str) -> str:
        """Path or URL of a file, for people."""

    def make_ready(self) -> None:
        """See that files can be written, before anything is read for it.

        Raises
        ------
        LakeError
            The place cannot be reached, or takes no writing.
        """

    def exists(self, name: str) -> bool:
        """Tell whether there is a file of this name."""

    def existing(self, names: Sequence[str]) -> list[str]:
        """Those of some names that have a file, in their order."""

    def find(self, pattern: str) -> list[str]:
        """Names that fit a pattern, sorted; ``*`` stands for anything within one level."""

    def day_folders(self) -> list[str]:
        """Names of all folders that hold a day, ``.../date=2025-10-06``, sorted."""

    def open(self, name: str) -> BinaryIO:
        """Give a file to read; it may be replaced meanwhile.

        Raises
        ------
        FileNotFoundError
            There is none.
        """

    def write(self, name: str, fill: Callable[[BinaryIO], object]) -> None:
        """Put a whole new file in place; `fill` is given what to write to."""

    def take(self, part: Path, name: str) -> None:
        """Put a finished file of this machine in place; it is gone from where it was then."""

    def delete(self, name: str) -> None:
        """Remove a file, there or not."""

    def remove(self, name: str) -> None:
        """Remove a file, or all files below a name."""

    def signature(self, name: str) -> Hashable:
        """Tell one content of a file from another without reading it."""

    def size_bytes(self, name: str) -> int:
        """Size of a file, or of all below a name [bytes]."""

    def modified_s(self, name: str) -> float:
        """When a file was written [s since 1970]."""

    def leftovers(self) -> list[str]:
        """Names of half-written files of a run that was stopped."""


def storage_at(where: Path | str) -> Storage:
    """Place of a lake: a path is a folder, a text the URL of an object store."""
    if isinstance(where, Path):
        return FolderStorage(where.resolve())
    from pipeline.lake.objects import ObjectStorage  # noqa: PLC0415  (few lakes lie there)

    return ObjectStorage(where.rstrip("/"))


@dataclass(frozen=True, slots=True)
class FolderStorage:
    """A folder, on a disk of this machine or on a share.

    Parameters
    ----------
    root : Path
        Absolute, without links.
    """

    root: Path

    @property
    def far(self) -> bool:
        """A disk answers at once."""
        return False

    def where(self, name: str) -> str:
        """Path of a file."""
        return str(self.root / name)

    def make_ready(self) -> None:
        """Make the folder; see `Place.make_ready`."""
        try:
            private_folder(self.root)
        except OSError as error:
            raise full_disk(error, self.root) or _no_folder(self.root, error) from error
        if not os.access(self.root, os.W_OK | os.X_OK):
            raise _no_folder(
                self.root, PermissionError(errno.EACCES, said("it may not be written to"))
            )

    def exists(self, name: str) -> bool:
        """Tell whether there is a file of this name."""
        return self._path(name).exists()

    def existing(self, names: Sequence[str]) -> list[str]:
        """Those of some names that have a file."""
        return [name for name in names if self.exists(name)]

    def find(self, pattern: str) -> list[str]:
        """Names that fit a pattern; see `Place.find`."""
        if "**" in pattern:  # `glob` would follow links to folders
            return sorted(p.relative_to(self.root).as_posix() for p in self.root.glob(pattern))
        # Path.glob takes twice as long, and a night asks some forty times.
        found = glob(pattern, root_dir=self.root, include_hidden=True)  # noqa: PTH207
        return sorted(name.replace(os.sep, "/") for name in found)

    def day_folders(self) -> list[str]:
        """Names of all folders that hold a day; see `Place.day_folders`."""
        return self.find("**/date=*")

    def open(self, name: str) -> BinaryIO:
        """Give a file to read."""
        return self._path(name).open("rb")

    def write(self, name: str, fill: Callable[[BinaryIO], object]) -> None:
        """Write a file beside its place, see it on disk, and give it its name."""
        path = self._path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(path.name + PART)
        with part.open("wb") as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
        replace_file(part, path)

    def take(self, part: Path, name: str) -> None:
        """Rename a finished file into place; from another disk it is copied beside it first."""
        try:
            replace_file(part, self._path(name))
        except OSError as error:
            if error.errno != errno.EXDEV:
                raise
            with part.open("rb") as file:
                self.write(name, partial(shutil.copyfileobj, file))
            part.unlink()

    def delete(self, name: str) -> None:
        """Remove a file, there or not."""
        self._path(name).unlink(missing_ok=True)

    def remove(self, name: str) -> None:
        """Remove a file, or a folder with all that is in it; of a link only the link."""
        path = self.root / name
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)

    def signature(self, name: str) -> Hashable:
        """Tell a file from the one that replaced it, whatever their times say."""
        facts = self._path(name).stat()
        return facts.st_ino, facts.st_mtime_ns, facts.st_size

    def size_bytes(self, name: str) -> int:
        """Size of a file, or of all below a folder [bytes]; links are not followed."""
        path = self.root / name
        if path.is_dir() and not path.is_symlink():
            return sum(p.lstat().st_size for p in path.rglob("*") if not p.is_dir())
        return path.lstat().st_size

    def modified_s(self, name: str) -> float:
        """When a file was written [s since 1970]."""
        return self._path(name).stat().st_mtime

    def leftovers(self) -> list[str]:
        """Names of half-written files."""
        found = (
            Path(folder, name)
            for folder, _, names in os.walk(self.root)
            for name in names
            if name.endswith(PART)
        )
        return sorted(path.relative_to(self.root).as_posix() for path in found)

    def _path(self, name: str) -> Path:
        """File of a name, refused when it lies outside the root (a link may lead there)."""
        path = self.root / name
        if _has_links(self.root, name) and not path.resolve().is_relative_to(self.root):
            raise DataError(
                said("A folder of the store leads out of the store."),
                str(path),
                said("Remove the link, or make the store's folder where the link points to."),
            )
        return path


def _has_links(root: Path, name: str) -> bool:
    """Tell whether a name may lead elsewhere; looked at level by level below the root only."""
    if os.name == "nt":  # there are other links than those that are told of here
        return True
    at, levels = str(root), name.split("/")
    if {"", ".", ".."} & {*levels}:
        return True
    for level in levels:
        at = f"{at}{os.sep}{level}"
        try:
            if stat.S_ISLNK(os.lstat(at).st_mode):
                return True
        except FileNotFoundError:
            return False  # nor is there anything below it
        except OSError:
            return True
    return False


def _no_folder(root: Path, error: OSError) -> LakeError:
    return LakeError(
        said(
            "The folder of the lake cannot be used: {why}.",
            why=(error.strerror or str(error)).lower(),
        ),
        str(root),
        said(
            "See that the disk or share is there (mounted) and that the user who runs lostpol may "
            "write to it, then run the same command again."
        ),
    )
