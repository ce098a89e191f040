"""A findings store that cannot be read: what that means, and a cure that leads out of it.

The cure depends on which file it is, and on what lies beside it: the copy is made from the file,
and a file that is gone is brought back from the copy. Neither may be the cure of itself.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import duckdb

from pipeline.base import DataError
from pipeline.store.published import published_path
from pipeline.words import said

_ANEW: Final = said("run lostpol backfill: it finds the losses anew, verdicts must be given again")


def unreadable(path: Path, error: duckdb.Error) -> DataError:
    """Say what cannot be read, why, and how to go on."""
    where = f"{path}: {str(error).splitlines()[0]}"
    live = _live_of(path)
    if live is None:
        return DataError(said("The findings store cannot be opened."), where, _cure(path))
    what = said("The published copy of the findings cannot be read.")
    if live.exists():
        return DataError(
            what,
            where,
            said(
                "Nothing is lost: {name} beside it holds the same. Run lostpol nightly, which "
                "makes the copy anew; or move the copy away, and {name} is read instead.",
                name=live.name,
            ),
        )
    older = backups_of(live)
    way = said("Then {anew}.", anew=_ANEW)
    if older:
        way = said(
            "Then rename the newest backup beside it, {backup}, to {name} and run lostpol "
            "backfill: verdicts given since that backup are lost.",
            backup=older[-1].name,
            name=live.name,
        )
    return DataError(
        what, where, said("{name} is gone, too. Move the copy away. {way}", name=live.name, way=way)
    )


def _cure(path: Path) -> str:
    copy = published_path(path)
    if copy.exists():
        return said(
            "Move the file away. The next run then goes on from the copy beside it, {copy}, with "
            "its findings and verdicts.",
            copy=copy.name,
        )
    return said("Move the file away, then {anew}.", anew=_ANEW)


def _live_of(path: Path) -> Path | None:
    """File that a published copy is made from; None for any other file."""
    live = path.with_name(path.name.replace("_published", "", 1))
    return live if live != path and published_path(live) == path else None


def backups_of(live: Path) -> list[Path]:
    """Backups from before migrations, oldest schema first."""
    return sorted(live.parent.glob(f"{live.stem}.schema_[0-9][0-9][0-9]{live.suffix}"))


def read_through(connection: duckdb.DuckDBPyConnection) -> None:
    """Read all that an open store holds, so that what is spoilt in it shows now."""
    query = "SELECT schema_name, table_name FROM duckdb_tables() WHERE NOT internal"
    for schema, table in connection.execute(query).fetchall():
        connection.execute(f'SELECT bit_xor(hash(t)) FROM "{schema}"."{table}" AS t').fetchall()
