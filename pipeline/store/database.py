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
from pipeline.store.spoilt import backups_of, read_through, unreadable
from pipeline.words import figure, said

#: First and longest pause between two tries [s]; each is half as long again as the last.
_FIRST_PAUSE_S: Final = 0.02
_LONGEST_PAUSE_S: Final = 1.0
#: How long a published copy is waited for; nobody holds it for long [s].
_COPY_PATIENCE_S: Final = 30.0
#: Backups kept from before migrations.
KEPT_BACKUPS: Final = 3
_HOLDER: Final = re.compile(r"held in (?P<program>.+?) \(PID (?P<pid>\d+)\)")
#: What a file that was cut or overwritten makes the library say in the middle of its work.
_DAMAGE: Final = (duckdb.IOException, duckdb.SerializationException, duckdb.InternalException,
                  duckdb.FatalException)  # fmt: skip
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
        if not _tells_of_damage(error):
            raise
        raise full_disk(error, path) or unreadable(path, error) from error
    finally:
        connection.close()


def _tells_of_damage(error: duckdb.Error) -> bool:
    """Tell whether the file is to blame; a checksum that does not fit comes without a class."""
    return isinstance(error, _DAMAGE) or "corrupt database file" in str(error).lower()


def _connect(path: Path, *, read_only: bool, patience_s: float) -> duckdb.DuckDBPyConnection:
    give_up = time.monotonic() + patience_s
    pause_s = _FIRST_PAUSE_S
    while True:
        try:
            return duckdb.connect(path, read_only=read_only, config=dict(_OPTIONS))
        except duckdb.Error as error:
            if not is_held(error):
                raise full_disk(error, path) or unreadable(path, error) from error
            left_s = give_up - time.monotonic()
            if left_s <= 0.0:
                raise _busy(path, error, patience_s) from error
        # Two that wait for each other must not try in step.
        time.sleep(min(left_s, pause_s * random.uniform(0.5, 1.0)))
        pause_s = min(pause_s * 1.5, _LONGEST_PAUSE_S)


def bring_back(live: Path, published: Path) -> None:
    """Let a store whose file is gone go on from its published copy.

    Raises
    ------
    DataError
        The copy is spoilt, or may not be read.
    """
    with opened(published, read_only=True, patience_s=_COPY_PATIENCE_S) as connection:
        read_through(connection)
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
        said(
            "The findings store is gone, and its copy cannot be read: {why}.",
            why=str(error.strerror or error),
        ),
        str(published),
        said(
            "Grant the right to read it, or move it away and run lostpol backfill: it finds the "
            "losses anew, verdicts must be given again."
        ),
    )


def is_held(error: duckdb.Error) -> bool:
    """Tell whether the file could not be opened because another holds it."""
    text = str(error)
    return "Conflicting lock" in text or "different configuration" in text


def _busy(path: Path, error: duckdb.Error, waited_s: float) -> StoreBusyError:
    holder = _HOLDER.search(str(error))
    who = said("another part of lostpol")
    if holder:
        who = said("{program}, process {pid}", program=holder["program"], pid=holder["pid"])
    return StoreBusyError(
        said(
            "The findings store is in use by {who}; waited {waited_s} s.",
            who=who,
            waited_s=figure(waited_s, "g"),
        ),
        str(path),
        said(
            "Close the program that holds it, or try again when its run has ended. Programs that "
            "only read should open findings_published.duckdb beside it."
        ),
    )


def version_of(connection: duckdb.DuckDBPyConnection) -> int:
    """Number of the last migration applied; 0 for an empty file."""
    try:
        ((last,),) = connection.execute("SELECT max(version) FROM schema_version").fetchall()
    except duckdb.CatalogException:  # asking the catalogue first takes twenty times as long
        return 0
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
            said(
                "The findings store has schema {version}; this lostpol knows {migrations}.",
                version=version,
                migrations=len(MIGRATIONS),
            ),
            str(path),
            said("Update lostpol to the version that wrote the store."),
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
        for old in backups_of(path)[:-KEPT_BACKUPS]:
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
