"""A lake in an object store, reached through fsspec by its URL.

Nothing here is remembered from one call to the next but the connection: a worker on another
machine may have written meanwhile. Keys are read from the environment by the library of the
scheme; they are no part of the URL, nor of what travels to workers, which is the URL alone.
"""

from __future__ import annotations

import os
import posixpath
from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from io import BytesIO
from itertools import takewhile
from pathlib import Path
from typing import Any, BinaryIO, Final

from pipeline.base import ConfigError, LakeError, LostpolError, said

#: Up to so many names are asked for one by one; more are looked up in one list.
_FEW: Final = 3
#: Written and removed again, to see whether that can be done.
_PROBE: Final = "probe"
_ODD: Final = frozenset({"", ".", ".."})
#: An object fetched in pieces could be half an old day and half a new one.
_IN_ONE_PIECE: Final = {"max_concurrency": 1}
_OPTIONS: Final = {"s3": _IN_ONE_PIECE, "s3a": _IN_ONE_PIECE}


@dataclass(frozen=True, slots=True)
class ObjectStorage:
    """A prefix in an object store; see ``pipeline.lake.storage.Place``.

    Parameters
    ----------
    root : str
        URL without a slash at its end, such as ``s3://bucket/prefix``.
    """

    root: str

    @property
    def far(self) -> bool:
        """Each answer takes some tens of milliseconds."""
        return True

    def where(self, name: str) -> str:
        """URL of an object."""
        return f"{self.root}/{name}"

    def make_ready(self) -> None:
        """Write a small object and remove it: that alone shows that the keys may do both."""
        self.write(_PROBE, lambda file: file.write(b"lostpol"))
        self.delete(_PROBE)

    def exists(self, name: str) -> bool:
        """Tell whether there is an object; a store that does not answer is no absence."""
        at = self._at(name)
        with self._told():
            try:
                return bool(self._system.info(at)["type"] == "file")
            except FileNotFoundError:
                return False

    def existing(self, names: Sequence[str]) -> list[str]:
        """Those of some names that have an object."""
        if len(names) <= _FEW:
            return [name for name in names if self.exists(name)]
        there = set(self._below(posixpath.commonpath(names)))
        return [name for name in names if name in there]

    def find(self, pattern: str) -> list[str]:
        """Names that fit a pattern; see ``Place.find``."""
        levels = pattern.split("/")
        folder = "/".join(takewhile(lambda level: "*" not in level, levels[:-1]))
        return [name for name in self._below(folder) if _fits(name.split("/"), levels)]

    def day_folders(self) -> list[str]:
        """Names of all prefixes that hold a day; see ``Place.day_folders``."""
        folders = {posixpath.dirname(name) for name in self._below("")}
        return sorted(name for name in folders if posixpath.basename(name).startswith("date="))

    def open(self, name: str) -> BinaryIO:
        """Give an object to read: its bytes, fetched as one."""
        at = self._at(name)
        with self._told():
            return BytesIO(self._system.cat_file(at))

    def write(self, name: str, fill: Callable[[BinaryIO], object]) -> None:
        """Send an object straight to its name, whole or not at all."""
        buffer = BytesIO()
        fill(buffer)
        self._send(buffer.getvalue(), name)

    def take(self, part: Path, name: str) -> None:
        """Send a finished file of this machine; it is removed once the store has it."""
        self._send(part.read_bytes(), name)
        part.unlink()

    def delete(self, name: str) -> None:
        """Remove an object, there or not."""
        at = self._at(name)
        with suppress(FileNotFoundError), self._told():
            self._system.rm_file(at)

    def remove(self, name: str) -> None:
        """Remove an object, or all objects below a name."""
        for below in self._below(name) or [name]:
            self.delete(below)

    def signature(self, name: str) -> Hashable:
        """Hash of all the store tells of an object: its tag, size and time."""
        at = self._at(name)
        with self._told():
            return str(self._system.ukey(at))

    def size_bytes(self, name: str) -> int:
        """Size of an object, or of all below a name [bytes]."""
        return sum(int(facts["size"]) for facts in self._listed(self._at(name)).values())

    def modified_s(self, name: str) -> float:
        """When an object was written [s since 1970]."""
        at = self._at(name)
        with self._told():
            return float(self._system.modified(at).timestamp())

    def leftovers(self) -> list[str]:
        """Nothing: an object that was not sent whole is not there."""
        return []

    def _below(self, folder: str) -> list[str]:
        """Names of all objects below a prefix, sorted."""
        at = self._at(folder) if folder else self._base
        prefix, found = f"{self._base}/", self._listed(at)
        return sorted(path.removeprefix(prefix) for path in found if path.startswith(f"{at}/"))

    def _listed(self, at: str) -> dict[str, dict[str, Any]]:
        """Facts of all objects below a prefix, by what the library calls them."""
        with self._told():
            try:
                return dict(self._system.find(at, detail=True))
            except FileNotFoundError as error:  # an empty prefix is none: the bucket is absent
                raise _no_bucket(self.root, error) from error

    def _send(self, content: bytes, name: str) -> None:
        at = self._at(name)
        with self._told():
            try:
                self._system.pipe_file(at, content)
            except FileNotFoundError as error:  # nothing is read: it is the bucket that is absent
                raise _no_bucket(self.root, error) from error

    def _at(self, name: str) -> str:
        """What the library calls an object; no name leads out of the prefix."""
        if "\\" in name or _ODD & set(name.split("/")):
            raise ValueError(f"not a name within the lake: {name!r}")
        return f"{self._base}/{name}"

    @property
    def _system(self) -> Any:  # noqa: ANN401  (fsspec has no types)
        return _opened(self.root, os.getpid())[0]

    @property
    def _base(self) -> str:
        return _opened(self.root, os.getpid())[1]

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turn whatever the library of a scheme raises into words; an absence stays one."""
        try:
            yield
        except (FileNotFoundError, LostpolError):
            raise
        except Exception as error:
            raise _away(self.root, error) from error


@lru_cache(maxsize=32)
def _opened(url: str, _process: int) -> tuple[Any, str]:
    """File system and path of a URL, once in each process: a forked one needs its own lines.

    Raises
    ------
    ConfigError
        The library of the scheme is not installed.
    """
    options = _OPTIONS.get(url.split("://", maxsplit=1)[0], {})
    try:
        from fsspec.core import url_to_fs  # noqa: PLC0415

        # Lists kept by the library would hide what workers write.
        system, path = url_to_fs(url, use_listings_cache=False, skip_instance_cache=True, **options)
    except (ImportError, ValueError) as error:
        raise ConfigError(
            said("The library that reaches the lake's URL is not installed, or does not know it."),
            f"mill.lake = {url}: {str(error).splitlines()[0]}",
            said(
                "For s3://, in lostpol's folder: .venv/bin/pip install -e '.[objects]'. Or "
                "correct the URL."
            ),
        ) from error
    return system, str(path).rstrip("/")


def _fits(levels: Sequence[str], pattern: Sequence[str]) -> bool:
    return len(levels) == len(pattern) and all(map(fnmatchcase, levels, pattern))


def _away(url: str, error: Exception) -> LakeError:
    """Build the error for a store that does not answer, or refuses."""
    text = f"{type(error).__name__}: {(str(error).splitlines() or [''])[0]}"[:300]
    if isinstance(error, PermissionError) or "Credential" in type(error).__name__:
        return LakeError(
            said(
                "The object store of the lake refuses to be read or written with the keys it was "
                "given."
            ),
            f"{url} ({text})",
            said(
                "Give keys that may list, read, write and delete there in the environment of "
                "lostpol and of all workers (for s3://: AWS_ACCESS_KEY_ID and "
                "AWS_SECRET_ACCESS_KEY, or AWS_PROFILE), then run the same command again."
            ),
        )
    return LakeError(
        said("The object store of the lake cannot be reached, or failed."),
        f"{url} ({text})",
        said(
            "See that the network and the store work and that its address is right (for s3:// of "
            "your own: AWS_ENDPOINT_URL), then run the same command again. What was stored is as "
            "it was."
        ),
    )


def _no_bucket(url: str, error: Exception) -> LakeError:
    text = (str(error).splitlines() or [""])[0]
    return LakeError(
        said("There is no such bucket."),
        f"{url} ({text})",
        said("Make the bucket, or correct [mill] lake, then run the same command again."),
    )
