"""Opening the findings store: patience with whoever holds it, migrations, and backups.

The file takes one writer or several readers at a time, between processes. Whoever meets a held
file waits a little, then a little longer, up to a limit, and then says who holds it.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import duckdb

from pipeline.base import DataError, StoreBusyError, full_disk
from pipeline.store.published import write_copy
from pipeline.store.schema import MIGRATIONS

#: First and longest pause between two tries [s]; each is half as long again as the last.
_FIRST_PAUSE_S: Final = 0.02
_LONGEST_PAUSE_S: Final = 1.0
#: Backups kept from before migrations.
KEPT_BACKUPS: Final = 3
_HOLDER: Final = re.compile(r"held in (?P<program>.+?) \(PID (?P<pid>\d+)\)")
#: What a file that was cut or overwritten makes the library say in the middle of its work.
_DAMAGE: Final = (duckdb.IOException, duckdb.SerializationException, duckdb.InternalException,
                  duckdb.FatalException)  # fmt: skip
#: What it says of a block whose bytes do not fit its checksum, in an error of no kind of its own.
_CORRUPT: Final = "Corrupt database file"
#: Nothing is loaded from outside.
_OPTIONS: Final = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}


@contextmanager
def opened(
    path: Path, *, read_only: bool, patience_s: float
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file, waiting a while for whoever holds it.

    Raises
    ------
    StoreBusyError
        It was held for longer than `patience_s`.
    DataError
        It is no store, or is damaged.
    DiskError
        The disk has no room to open it for writing.
    """
    connection = _connect(path, read_only=read_only, patience_s=patience_s)
    try:
        # Times without a zone would otherwise be read in the machine's own zone.
        connection.execute("SET TimeZone = 'UTC'")
        yield connection
    except duckdb.Error as error:
        if not isinstance(error, _DAMAGE) and _CORRUPT not in str(error):
            raise
        raise full_disk(error, path) or _unreadable(path, error) from error
    finally:
        connection.close()


def _connect(path: Path, *, read_only: bool, patience_s: float) -> duckdb.DuckDBPyConnection:
    give_up = time.monotonic() + patience_s
    pause_s = _FIRST_PAUSE_S
    while True:
        try:
            return duckdb.connect(path, read_only=read_only, config=dict(_OPTIONS))
        except duckdb.Error as error:
            if not is_held(error):
                raise full_disk(error, path) or _unreadable(path, error) from error
            left_s = give_up - time.monotonic()
            if left_s <= 0.0:
                raise _busy(path, error, patience_s) from error
        # Two that wait for each other must not try in step.
        time.sleep(min(left_s, pause_s * random.uniform(0.5, 1.0)))
        pause_s = min(pause_s * 1.5, _LONGEST_PAUSE_S)


def bring_back(live: Path, published: Path) -> None:
    """Let a store whose file is gone go on from its published copy, which is a whole one."""
    part = live.with_name(live.name + ".part")
    try:
        shutil.copyfile(published, part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(live)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise full_disk(error, live) or _no_way_back(published, error) from error


def _no_way_back(published: Path, error: OSError) -> DataError:
    return DataError(
        f"The findings store is gone, and its copy cannot be read: {error.strerror or error}.",
        str(published),
        "Grant the right to read it, or move it away and run lostpol backfill.",
    )


def is_held(error: duckdb.Error) -> bool:
    """Tell whether the file could not be opened because another holds it."""
    text = str(error)
    return "Conflicting lock" in text or "different configuration" in text


def _unreadable(path: Path, error: duckdb.Error) -> DataError:
    return DataError(
        "The findings store cannot be opened.",
        f"{path}: {str(error).splitlines()[0]}",
        "Move the file away. The next run then goes on from the copy beside it, "
        "findings_published.duckdb, with its findings and verdicts; without that copy too, run "
        "lostpol backfill.",
    )


def _busy(path: Path, error: duckdb.Error, waited_s: float) -> StoreBusyError:
    holder = _HOLDER.search(str(error))
    who = f"{holder['program']}, process {holder['pid']}" if holder else "another part of lostpol"
    return StoreBusyError(
        f"The findings store is in use by {who}; waited {waited_s:g} s.",
        str(path),
        "Close the program that holds it, or try again when its run has ended. Programs that "
        "only read should open findings_published.duckdb beside it.",
    )


def version_of(connection: duckdb.DuckDBPyConnection) -> int:
    """Number of the last migration applied; 0 for an empty file."""
    query = "SELECT count(*) FROM information_schema.tables WHERE table_name = 'schema_version'"
    ((tables,),) = connection.execute(query).fetchall()
    if tables == 0:
        return 0
    ((last,),) = connection.execute("SELECT max(version) FROM schema_version").fetchall()
    return int(last or 0)


def refuse_newer(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Version of an open file, refused when this lostpol is older.

    Raises
    ------
    DataError
        A newer lostpol wrote the file.
    """
    version = version_of(connection)
    if version > len(MIGRATIONS):
        raise DataError(
            f"The findings store has schema {version}; this lostpol knows {len(MIGRATIONS)}.",
            str(path),
            "Update lostpol to the version that wrote the store.",
        )
    return version


def migrate(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Apply the migrations a file does not have yet, after a backup of it.

    All of them are one transaction: a file is either as it was or up to date.
    """
    version = refuse_newer(connection, path)
    if version == len(MIGRATIONS):
        return
    if version > 0:
        write_copy(connection, backup_path(path, version))
        for old in backups(path)[:-KEPT_BACKUPS]:
            old.unlink(missing_ok=True)
    connection.begin()
    try:
        for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
            connection.execute(
                "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY)"
            )
            connection.execute(script)
            connection.execute("INSERT INTO schema_version VALUES (?)", [number])
    except BaseException:
        connection.rollback()
        raise
    connection.commit()


def backup_path(path: Path, version: int) -> Path:
    """Where a file of an older schema is kept when it is brought up to date."""
    return path.with_name(f"{path.stem}.schema_{version:03d}{path.suffix}")


def backups(path: Path) -> list[Path]:
    """Backups from before migrations, oldest schema first."""
    return sorted(path.parent.glob(f"{path.stem}.schema_[0-9][0-9][0-9]{path.suffix}"))
