"""Single files of the lake: read whole or in part, and the last few days kept in memory."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Sequence
from functools import partial
from threading import Lock
from typing import Final, TypeAlias

import polars as pl

from pipeline.base import DataError, said
from pipeline.lake.intact import rotten, whole_bytes
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.storage import Storage

#: Days of readings kept in memory: blocks of days share three, and one is on its way out.
_MOST_RECENT: Final = 4
#: Days of which some tags are read together: no more lie in memory in full, packed.
_TOGETHER: Final = 64
_RECENT: Final[dict[str, tuple[Hashable, pl.DataFrame]]] = {}
_ONE_AT_A_TIME: Final = Lock()
#: Goes through files, as ``map`` does.
_Each: TypeAlias = Callable[[Callable[[str], bytes | None], Sequence[str]], Iterable[bytes | None]]


def recent_day(storage: Storage, name: str) -> pl.DataFrame | None:
    """A stored day of readings; the last few are kept: neighbouring days ask for the same."""
    where = storage.where(name)
    try:
        signature = storage.signature(name)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unreadable(where, error.strerror or said("it may not be looked at")) from error
    known = _RECENT.get(where)
    if known is not None and known[0] == signature:
        return known[1]
    day = read_stored(storage, name, READINGS_SCHEMA)
    if day is not None:
        with _ONE_AT_A_TIME:
            while len(_RECENT) >= _MOST_RECENT:
                # By name, which is by day: what comes next asks for the last ones.
                _RECENT.pop(min(_RECENT))
            _RECENT[where] = (signature, day)
    return day


def read_stored(
    storage: Storage,
    name: str,
    schema: pl.Schema | None = None,
    columns: Sequence[str] | None = None,
    tags: Collection[str] | None = None,
) -> pl.DataFrame | None:
    """Read one stored file, or some of it, checking its columns when a schema is given.

    None when there is no such file.
    """
    content = _stored_bytes(storage, name)
    if content is None:
        return None
    try:
        if columns is None and tags is None:
            frame = pl.read_parquet(content)
        else:
            some = pl.scan_parquet(content)
            if columns is not None:
                held = some.collect_schema().names()
                some = some.select([name for name in columns if name in held])
            if tags is not None:
                some = some.filter(pl.col("tag").is_in(list(tags)))
            frame = some.collect()
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise rotten(storage, name, str(error).splitlines()[0]) from error
    if schema is not None and frame.schema != schema:
        raise rotten(
            storage, name, said("its columns are {columns}", columns=", ".join(frame.columns))
        )
    return frame


def _stored_bytes(storage: Storage, name: str) -> bytes | None:
    """Bytes of a stored file as they were written; None when there is no such file."""
    try:
        return whole_bytes(storage, name)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unreadable(storage.where(name), str(error).splitlines()[0]) from error


def read_together(
    storage: Storage, names: Sequence[str], tags: Collection[str], each: _Each
) -> pl.DataFrame | None:
    """Readings of some tags out of several days, in order of tag and time.

    They are sifted in one go: to plan that for each day takes longer than to do it.

    Parameters
    ----------
    storage : Storage
    names : sequence of str
        Files of days, first day first; one that is not there adds nothing.
    tags : collection of str
    each : callable
        Goes through the files, as ``map`` does.

    Returns
    -------
    polars.DataFrame or None
        None where one of the files cannot be read so: read one by one they tell which, and why.
    """
    found = [READINGS_SCHEMA.to_frame()]
    for start in range(0, len(names), _TOGETHER):
        some = each(partial(_stored_bytes, storage), names[start : start + _TOGETHER])
        if files := [content for content in some if content is not None]:
            try:
                part = pl.scan_parquet(files).filter(pl.col("tag").is_in(list(tags))).collect()
            except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
                return None
            if part.schema != READINGS_SCHEMA:
                return None
            found.append(part)
    # Each stored day is in order of tag and time, so the order of days is that of a tag's times.
    return pl.concat(found).sort("tag", maintain_order=True)


def _unreadable(where: str, detail: str) -> DataError:
    """Build the error for a stored file that cannot be read."""
    return DataError(
        said("A stored day cannot be read: {how}.", how=detail),
        where,
        said("See that the disk and the rights are well, then run the same command again."),
    )
