"""The published copy of the findings store: what SQL clients and reports open.

The live file is held by nobody for longer than a transaction. The copy beside it is made from
within the writer's own connection right after a commit, so it holds whole runs only; it is built
under another name, flushed to the disk and put in place in one step. Whoever has the old copy
open keeps reading it, unharmed, until they open it anew.
"""

from __future__ import annotations

import os
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

import duckdb

from pipeline.base import flush_folder, full_disk

_PART: Final = ".part"
_ALIAS: Final = "lostpol_copy"
#: On Windows a file that somebody reads cannot be replaced: pauses before another try [s].
_PAUSES_S: Final = (0.1, 0.3, 1.0, 3.0)


def published_path(live: Path) -> Path:
    """Where the published copy of a store lies."""
    return live.with_name(f"{live.stem}_published{live.suffix}")


def write_copy(connection: duckdb.DuckDBPyConnection, target: Path, rights: int = 0o400) -> None:
    """Write all that an open store holds to `target`, in one step; no transaction may be open.

    Parameters
    ----------
    rights : int
        Who may read it; nobody may write to it.

    Raises
    ------
    DiskError
        The disk has no room; `target` is as it was.
    """
    part = target.with_name(target.name + _PART)
    _remove(part)
    try:
        _fill(connection, part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.chmod(rights)
        _put(part, target)
    except (OSError, duckdb.Error) as error:
        _remove(part)
        full = full_disk(error, target)
        if full is None:
            raise
        raise full from error


def _fill(connection: duckdb.DuckDBPyConnection, part: Path) -> None:
    ((source,),) = connection.execute("SELECT current_database()").fetchall()
    connection.execute(f"ATTACH {_text(str(part))} AS {_ALIAS}")
    try:
        connection.execute(f"COPY FROM DATABASE {_name(source)} TO {_ALIAS}")
        # Without it all might still stand in the journal, which a full disk may cut off.
        connection.execute(f"FORCE CHECKPOINT {_ALIAS}")
    finally:
        with suppress(duckdb.Error):  # of a full disk the first error tells more
            connection.execute(f"DETACH {_ALIAS}")


def _put(part: Path, target: Path) -> None:
    """Put the new copy in place; a journal that a client left belongs to the old one."""
    _journal(target).unlink(missing_ok=True)
    for pause_s in (*_PAUSES_S, None):
        try:
            part.replace(target)
            break
        except PermissionError:
            if pause_s is None or sys.platform != "win32":
                raise
            time.sleep(pause_s)
    flush_folder(target.parent)


def _journal(path: Path) -> Path:
    return path.with_name(path.name + ".wal")


def _remove(part: Path) -> None:
    for path in (part, _journal(part)):
        with suppress(OSError):
            path.unlink(missing_ok=True)


def _text(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _name(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
