"""Making room: what the description lets go, remains of stopped runs, and a smaller database.

Without a ``[keep]`` section nothing that a run made is deleted. Of readings only whole seasons go:
a season is searched as one, and half of one would be judged differently.
"""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from pipeline.base import ONE_DAY, copy_rights, full_disk, only_run, only_writer
from pipeline.lake import REFUSALS, Lake, lake_of, seasons_of
from pipeline.mill import Mill
from pipeline.pull import unfinished
from pipeline.run import log_event, log_folder
from pipeline.store import KEPT_BACKUPS, backups_of, migrate, opened, store_of, write_copy
from pipeline.words import said

_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_DAY_S: Final = 86400.0


@dataclass(frozen=True, slots=True)
class Item:
    """Something to delete: where it lies, why it goes, and its size [bytes].

    ``in_lake`` is its name in the lake, when it lies there.
    """

    path: Path | str
    why: str
    size_bytes: int
    in_lake: str = ""


@dataclass(frozen=True, slots=True)
class Tidied:
    """What was deleted, or would be, and the size of the database before and after [bytes]."""

    items: tuple[Item, ...]
    database_before: int
    database_after: int


def make_room(mill: Mill, *, dry_run: bool) -> Tidied:
    """Delete what may go and make the database file small.

    Parameters
    ----------
    dry_run : bool
        Only say what would be done; then the size after is an estimate.

    Raises
    ------
    StoreBusyError
        A run works on the store.
    """
    with only_run(mill):
        items = tuple(to_delete(mill))
        size = _size(mill.database_path)
        if dry_run:
            return Tidied(items, size, size - _free_inside(mill))
        try:
            for item in items:
                _delete(mill, item)
            _compact(mill)
        except OSError as error:
            raise full_disk(error, mill.store_path) or error from error
        freed = sum(item.size_bytes for item in items)
        log_event(mill, "tidied", items=len(items), freed_bytes=freed)
        return Tidied(items, size, _size(mill.database_path))


def to_delete(mill: Mill) -> Iterator[Item]:
    """Everything that may go now."""
    yield from leftovers(mill)
    if mill.keep.readings_days is not None:
        yield from _old_seasons(mill, mill.keep.readings_days)
    if mill.keep.reports_days is not None:
        yield from _old_reports(mill, mill.keep.reports_days)
    if mill.keep.refused_days is not None:
        yield from _old_refusals(lake_of(mill), mill.keep.refused_days)
    if mill.keep.logs_days is not None:
        yield from _old_logs(log_folder(mill), mill.keep.logs_days)


def leftovers(mill: Mill) -> Iterator[Item]:
    """Remains of runs that were stopped; nothing uses them. Only while no run works."""
    for part in sorted(mill.store_path.rglob("*.part*")):
        inside = part.relative_to(mill.store_path).parts
        if any(name.endswith((".part", ".part.wal")) for name in inside[-1:]):
            yield _item(part, said("left by a stopped run"))
    if mill.lake is not None:
        lake = lake_of(mill)
        for name in lake.storage.leftovers():
            yield _lake_item(lake, name, said("left by a stopped run"))
    incoming = mill.incoming_path
    # A pull that found nothing to read leaves the folder empty: no remains, and nobody's worry.
    if incoming.is_dir() and any(incoming.iterdir()) and not unfinished(incoming):
        yield _item(incoming, said("read by a stopped pull, and not stored"))
    for path in backups_of(mill.database_path)[:-KEPT_BACKUPS]:
        yield _item(path, said("older backup of the database"))


def _old_seasons(mill: Mill, keep_days: int) -> Iterator[Item]:
    """Days of whole seasons before the last one, all of whose days are old."""
    lake = lake_of(mill)
    days = lake.days()
    waiting = set(store_of(mill).pending_days())
    for season in seasons_of(days)[:-1]:
        if days[-1] - season[-1] <= timedelta(days=keep_days) or waiting & set(season):
            continue
        first, last = season[0] - ONE_DAY, season[-1] + ONE_DAY
        for folder in lake.storage.day_folders():
            with suppress(ValueError):
                if first <= date.fromisoformat(folder.rpartition("date=")[2]) <= last:
                    yield _lake_item(
                        lake, folder, said("season that ended on {day}", day=season[-1])
                    )


def _old_reports(mill: Mill, keep_days: int) -> Iterator[Item]:
    folders = [p for p in mill.reports_path.glob("*") if _DAY.fullmatch(p.name) and p.is_dir()]
    if not folders:
        return
    oldest = date.fromisoformat(max(p.name for p in folders)) - timedelta(days=keep_days)
    for folder in sorted(folders):
        if date.fromisoformat(folder.name) < oldest:
            yield _item(folder, said("old report"))


def _old_refusals(lake: Lake, days: int) -> Iterator[Item]:
    limit = time.time() - days * _DAY_S
    for name in lake.storage.find(f"{REFUSALS}/*.parquet"):
        if lake.storage.modified_s(name) < limit:
            yield _lake_item(lake, name, said("refused rows, older than {days} days", days=days))


def _old_logs(folder: Path, days: int) -> Iterator[Item]:
    limit = time.time() - days * _DAY_S
    for path in sorted(folder.glob("lostpol.jsonl.*")):
        if path.stat().st_mtime < limit:
            yield _item(path, said("log, older than {days} days", days=days))


def _lake_item(lake: Lake, name: str, why: str) -> Item:
    return Item(lake.storage.where(name), why, lake.storage.size_bytes(name), name)


def _item(path: Path, why: str) -> Item:
    return Item(path, why, _size(path))


def _size(path: Path) -> int:
    """Size of a file, or of all below a folder [bytes]; links are not followed."""
    if path.is_dir() and not path.is_symlink():
        return sum(p.lstat().st_size for p in path.rglob("*") if not p.is_dir())
    return path.lstat().st_size if path.exists() else 0


def _delete(mill: Mill, item: Item) -> None:
    if item.in_lake:
        lake_of(mill).storage.remove(item.in_lake)
        return
    path = Path(item.path)
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _free_inside(mill: Mill) -> int:
    """Room that the database holds and does not use [bytes]."""
    store = store_of(mill)
    if not store.path.exists():
        return 0
    with opened(store.path, read_only=True, patience_s=store.patience_s) as connection:
        query = "SELECT block_size * free_blocks FROM pragma_database_size()"
        ((free,),) = connection.execute(query).fetchall()
    return int(free)


def _compact(mill: Mill) -> None:
    """Write the database anew without its gaps, and put the new file in place."""
    store = store_of(mill)
    if not store.path.exists():
        return
    fresh = store.path.with_name(f"{store.path.stem}_compact{store.path.suffix}")
    with only_writer(store.path, store.patience_s):
        with opened(store.path, read_only=False, patience_s=store.patience_s) as connection:
            migrate(connection, store.path)
            connection.execute("CHECKPOINT")
            write_copy(connection, store.published, copy_rights(store.readers))
            write_copy(connection, fresh)
        # Closed by now, and our own writers are kept out: nothing can come between.
        fresh.chmod(0o600)
        if _size(fresh) < _size(store.path):
            fresh.replace(store.path)
        else:
            fresh.unlink()
