"""Reading stored files only as they were written, and looking at all of them for rot."""

from __future__ import annotations

import errno
import json
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.replace import replace_file
from pipeline.lake.seal import state_of
from pipeline.lake.storage import Storage

#: Where rotten files are kept; nothing is read from there for work.
ASIDE: Final = "aside"
#: All files that have a hash: readings, features, and the ledger.
READINGS: Final = "readings/date=*/readings.parquet"
_SEALED: Final = (
    READINGS,
    "features/*/date=*/*.parquet",
    "refused/*.parquet",
    "pulled/*.json",
)
#: Files looked at together; hashing lets other threads work meanwhile.
_AT_ONCE: Final = 4
_CHANGED: Final = said("its bytes are not those that were written")


class RottenError(DataError):
    """A stored file is not what was written, or cannot be read; `how` it shows."""

    how: str = ""


@dataclass(frozen=True, slots=True)
class Survey:
    """What a look at every stored file showed.

    Attributes
    ----------
    rotten : dict of str to str
        Files that are not as written, each with how that shows.
    bare : tuple of str
        Files from before there were hashes; they can be read.
    files : int
        How many were looked at.
    """

    rotten: dict[str, str]
    bare: tuple[str, ...]
    files: int


def whole_bytes(storage: Storage, name: str) -> bytes:
    """Bytes of a stored file, seen to be those that were written.

    Raises
    ------
    FileNotFoundError
        There is none.
    RottenError
        They are not, or the disk cannot read them.
    """
    try:
        with storage.open(name) as file:
            content = file.read()
    except OSError as error:
        if error.errno != errno.EIO:
            raise
        raise rotten(storage, name, said("the disk cannot read it")) from error
    if state_of(content) == "rotten":
        raise rotten(storage, name, _CHANGED)
    return content


def rotten(storage: Storage, name: str, how: str) -> RottenError:
    """Build the error for a stored file that is not what was written."""
    error = RottenError(
        said("A stored day cannot be read: {how}.", how=how),
        storage.where(name),
        said(
            "Run lostpol backfill: it sets that file aside and makes it anew, from readings or "
            "from the exports where they still are. What it cannot make it names, with the exports "
            "to import again."
        ),
    )
    error.how = how
    return error


def survey(storage: Storage, names: Sequence[str] | None = None) -> Survey:
    """Look at every stored file, or at some; each is read once."""
    if names is None:
        names = [name for pattern in _SEALED for name in storage.find(pattern)]
    with ThreadPoolExecutor(_AT_ONCE, "lostpol-hashes") as pool:
        states = list(pool.map(lambda name: _state(storage, name), names))
    found = dict(zip(names, states, strict=True))
    return Survey(
        {name: how for name, how in found.items() if how not in {"sound", "bare", "gone"}},
        tuple(name for name, how in found.items() if how == "bare"),
        len(names),
    )


def set_aside(storage: Storage, name: str) -> str:
    """Move a file to where rotten ones are kept; its path or URL there."""
    number = len(storage.find(f"{ASIDE}/{name}.*")) + 1
    kept = f"{ASIDE}/{name}.{number}"
    if isinstance(storage.root, Path):
        # Renamed, not copied: a disk that cannot read a file can still do this.
        with suppress(FileNotFoundError):
            replace_file_in(storage.root, name, kept)
    else:
        with storage.open(name) as file:
            content = file.read()
        storage.write(kept, lambda out: out.write(content))
        storage.delete(name)
    return storage.where(kept)


def replace_file_in(root: Path, name: str, new: str) -> None:
    """Give a file of a folder another name."""
    replace_file(root / name, root / new)


def day_of(name: str) -> date | None:
    """Day under which a file lies, or None."""
    for level in name.split("/"):
        if level.startswith("date="):
            with suppress(ValueError):
                return date.fromisoformat(level.removeprefix("date="))
    return None


def _state(storage: Storage, name: str) -> str:
    """Sound, bare, gone, or how it shows that a file is rotten."""
    try:
        content = whole_bytes(storage, name)
    except FileNotFoundError:
        return "gone"
    except RottenError as error:
        return error.how
    state = state_of(content)
    for how in _flaws(name, content, thorough=state == "bare"):
        return how
    return state


def _flaws(name: str, content: bytes, *, thorough: bool) -> Iterator[str]:
    """Find what makes a file unreadable; of one without a hash all has to be read for it."""
    try:
        if name.endswith(".json"):
            json.loads(content)
            return
        schema = pl.read_parquet(content).schema if thorough else pl.read_parquet_schema(content)
    except (ValueError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        yield (str(error).splitlines() or [said("it is empty")])[0]
        return
    if name.startswith("readings/") and schema != READINGS_SCHEMA:
        yield said("its columns are {columns}", columns=", ".join(schema))
