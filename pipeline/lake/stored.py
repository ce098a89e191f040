"""Single files of the lake: read whole or in part, and the last few days kept in memory."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Sequence
from typing import BinaryIO, Final

import polars as pl

from pipeline.base import DataError
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.storage import Storage

#: Days of readings kept in memory: three make a grid, and one is on its way out.
_MOST_RECENT: Final = 4
_RECENT: Final[dict[str, tuple[Hashable, pl.DataFrame]]] = {}


def recent_day(storage: Storage, name: str) -> pl.DataFrame | None:
    """A stored day of readings; the last few are kept: neighbouring days ask for the same."""
    where = storage.where(name)
    try:
        signature = storage.signature(name)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unreadable(where, error.strerror or "it may not be looked at") from error
    known = _RECENT.get(where)
    if known is not None and known[0] == signature:
        return known[1]
    day = read_stored(storage, name, READINGS_SCHEMA)
    if day is not None:
        while len(_RECENT) >= _MOST_RECENT:
            _RECENT.pop(next(iter(_RECENT)), None)
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
    try:
        # Reading from an open file frees the name at once: it may be replaced next.
        with storage.open(name) as file:
            if columns is None and tags is None:
                frame = pl.read_parquet(file)
            else:
                some = pl.scan_parquet(file)
                if columns is not None:
                    held = some.collect_schema().names()
                    some = some.select([name for name in columns if name in held])
                if tags is not None:
                    some = some.filter(pl.col("tag").is_in(list(tags)))
                frame = some.collect()
    except FileNotFoundError:
        return None
    except (OSError, pl.exceptions.PolarsError) as error:
        raise _unreadable(storage.where(name), str(error).splitlines()[0]) from error
    if schema is not None and frame.schema != schema:
        facts = f"its columns are {', '.join(frame.columns)}"
        raise _unreadable(storage.where(name), facts)
    return frame


def dump_features(frame: pl.DataFrame, file: BinaryIO) -> None:
    """Write features the one way that gives the same bytes for the same content."""
    frame.rechunk().write_parquet(
        file, compression="zstd", compression_level=3, row_group_size=1 << 20
    )


def _unreadable(where: str, detail: str) -> DataError:
    """Build the error for a stored file that cannot be read."""
    return DataError(
        f"A stored day cannot be read: {detail}.",
        where,
        "Move that file away, then import the exports of that day again.",
    )
