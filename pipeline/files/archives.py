"""Packed exports: gzip and zstandard streams, and zip archives, unpacked under a limit.

Nothing is ever written under a name taken from an archive.
"""

from __future__ import annotations

import gzip
import io
import stat
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from fnmatch import fnmatchcase
from pathlib import Path
from typing import IO, Final

import pyarrow as pa

from pipeline.base import DataError, figure, said
from pipeline.files.limits import MOST_MEMBERS, MOST_SPOOLED_BYTES, check_member, check_unpacked

_GZIP: Final = b"\x1f\x8b"
_ZSTD: Final = b"\x28\xb5\x2f\xfd"
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
_CHUNK: Final = 1 << 20


class Limited(io.RawIOBase):
    """An unpacked stream that ends in an error once it has grown out of all proportion."""

    def __init__(self, stream: IO[bytes] | gzip.GzipFile, packed: int, where: str) -> None:
        self._stream, self._packed, self._where = stream, max(packed, 1), where
        self._unpacked = 0

    def readable(self) -> bool:
        """Tell that the stream can be read."""
        return True

    def readinto(self, buffer: object) -> int:
        """Read some bytes into `buffer`."""
        view = memoryview(buffer)  # type: ignore[arg-type]
        data = self._stream.read(len(view))
        view[: len(data)] = data
        self._unpacked += len(data)
        check_unpacked(self._unpacked, self._packed, self._where)
        return len(data)

    def close(self) -> None:
        """Close the stream below too."""
        self._stream.close()
        super().close()


@contextmanager
def _only_bad_archives() -> Iterator[None]:
    """Call bad what an archive asks for and zipfile cannot do.

    For a compression, version or encryption it does not know, zipfile raises some `RuntimeError`,
    as for a fault of its own; that would pass for a fault of ours.
    """
    try:
        yield
    except RuntimeError as error:
        raise zipfile.BadZipFile(str(error)) from error


def opened_archive(path: Path) -> zipfile.ZipFile:
    """Open a zip archive to read from it.

    Raises
    ------
    zipfile.BadZipFile
        It is damaged, or made in a way that cannot be read.
    """
    with _only_bad_archives():
        return zipfile.ZipFile(path)


def opened_entry(archive: zipfile.ZipFile, entry: str | zipfile.ZipInfo) -> IO[bytes]:
    """Open one entry of an archive to read from it; raises as `opened_archive` does."""
    with _only_bad_archives():
        return archive.open(entry)


def is_archive(path: Path) -> bool:
    """Tell whether a file is a zip archive (a workbook is one too)."""
    with path.open("rb") as file:
        return file.read(4) in _ZIP


def is_workbook(path: Path) -> bool:
    """Tell whether a zip archive is a workbook."""
    with opened_archive(path) as archive:
        return "[Content_Types].xml" in archive.namelist()


def members(path: Path, wanted: tuple[str, ...]) -> list[str]:
    """Names of the exports in an archive, in its order.

    Raises
    ------
    DataError
        An entry leads out of the folder, is encrypted, or there are too many or none.
    """
    found = []
    with opened_archive(path) as archive:
        entries = archive.infolist()
        if len(entries) > MOST_MEMBERS:
            raise DataError(
                said(
                    "The archive has {entries} entries; at most {most_members} are read.",
                    entries=figure(len(entries), ","),
                    most_members=figure(MOST_MEMBERS, ","),
                ),
                str(path),
                said("Pack fewer exports together."),
            )
        for entry in entries:
            check_member(entry.filename, str(path))
            if stat.S_ISLNK(entry.external_attr >> 16):
                check_member(
                    "..",
                    said(
                        "{path}\nits entry {member} is a link",
                        path=path,
                        member=ascii(entry.filename[:80]),
                    ),
                )
            name = entry.filename.rsplit("/", 1)[-1]
            hidden = entry.filename.startswith("__MACOSX/") or name.startswith(".")
            if entry.is_dir() or hidden or not _is_wanted(name, wanted):
                continue
            if entry.flag_bits & 1:
                raise DataError(
                    said("The archive is locked with a password."),
                    str(path),
                    said("Pack it without one."),
                )
            found.append(entry.filename)
    if not found:
        raise DataError(
            said("The archive holds no export."), str(path), said("Pack the exports again.")
        )
    return found


def _is_wanted(name: str, wanted: tuple[str, ...]) -> bool:
    return not wanted or any(fnmatchcase(name.casefold(), w.casefold()) for w in wanted)


def unpacked(path: Path, member: str = "") -> IO[bytes]:
    """Bytes of an export or of one entry of an archive, unpacked as they are read."""
    packed = path.stat().st_size
    if member:
        archive = opened_archive(path)
        stream = opened_entry(archive, member)
        return io.BufferedReader(
            Limited(
                stream, packed, said("{path}\nits entry {member}", path=path, member=member[:80])
            )
        )
    with path.open("rb") as file:
        start = file.read(4)
    if start[:2] == _GZIP:
        return io.BufferedReader(Limited(gzip.open(path), packed, str(path)), _CHUNK)
    if start == _ZSTD:
        zstd = pa.CompressedInputStream(pa.OSFile(str(path)), "zstd")
        return io.BufferedReader(Limited(zstd, packed, str(path)), _CHUNK)
    return path.open("rb")


def is_packed(start: bytes) -> bool:
    """Tell whether bytes begin a packed stream or archive."""
    return start[:2] == _GZIP or start[:4] == _ZSTD or start[:4] in _ZIP


@contextmanager
def spooled(path: Path, member: str) -> Iterator[Path]:
    """Entry of an archive as a file of its own, for as long as the context lasts."""
    with tempfile.TemporaryDirectory(prefix="lostpol-") as folder:
        copy = Path(folder) / "entry"
        with unpacked(path, member) as source, copy.open("wb") as target:
            while chunk := source.read(_CHUNK):
                target.write(chunk)
                if target.tell() > MOST_SPOOLED_BYTES:
                    what = said("An entry of the archive is too large to be read inside it.")
                    raise DataError(what, str(path), said("Unpack it and import the file itself."))
        yield copy
