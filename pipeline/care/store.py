"""Looks at the store: database, published copy, lock, stopped pulls, leavings."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pipeline.base import is_running, now
from pipeline.care.nights import description, last_runs, readings, stored_days, waiting_days
from pipeline.care.signs import PATIENCE_S, Look, Sign, ago, database_of
from pipeline.care.tidy import leftovers
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.pull import unfinished
from pipeline.run import read_log
from pipeline.store import (
    MIGRATIONS,
    opened,
    published_store_of,
    read_through,
    refuse_newer,
)
from pipeline.words import counted, figure, said


def folder(mill: Mill) -> Iterator[Sign]:
    """See whether there is a store that may be written to."""
    path = mill.store_path
    if not path.is_dir():
        cure = said("Pull exports with lostpol pull, then run lostpol backfill.")
        yield Sign(said("Store"), "look", said("{path} does not exist yet", path=path), cure)
    elif not os.access(path, os.W_OK | os.X_OK):
        cure = said("Give the user who runs lostpol the right to write there.")
        yield Sign(said("Store"), "wrong", said("{path} cannot be written to", path=path), cure)
    else:
        yield Sign(said("Store"), "fine", str(path))


def lake(mill: Mill) -> Iterator[Sign]:
    """See whether the lake can be reached and written; an object store is tried with a small one.

    A folder is only made by a pull.
    """
    where = mill.lake_path
    if isinstance(where, Path) and not where.is_dir():
        cure = said(
            "Pull exports with lostpol pull; if there were some, see that its disk is mounted."
        )
        yield Sign(said("Lake"), "look", said("{where} does not exist yet", where=where), cure)
        return
    lake_of(mill).storage.make_ready()
    yield Sign(said("Lake"), "fine", said("can be reached and written: {where}", where=where))


def database(mill: Mill) -> Iterator[Sign]:
    """See whether the database can be opened, and is of this version."""
    store = database_of(mill)
    if not store.path.exists() and store.published.exists():
        # Told to go on from it, a person must be able to.
        with opened(store.published, read_only=True, patience_s=PATIENCE_S) as connection:
            read_through(connection)
        age = ago(now().timestamp() - store.published.stat().st_mtime)
        what = said(
            "{name} is gone; its published copy, made {age}, is there",
            name=store.path.name,
            age=age,
        )
        cure = said(
            "Nothing, if that age is right: the next run goes on from the copy, verdicts included."
        )
        yield Sign(said("Database"), "wrong", what, cure)
        return
    if not store.path.exists():
        cure = said("Run lostpol backfill once exports were pulled.")
        yield Sign(said("Database"), "look", said("there is none yet"), cure)
        return
    with opened(store.path, read_only=True, patience_s=PATIENCE_S) as connection:
        version = refuse_newer(connection, store.path)
    if version < len(MIGRATIONS):
        what = said("schema {version} of {migrations}", version=version, migrations=len(MIGRATIONS))
        cure = said("Nothing: the next run brings it up to date, after a backup beside it.")
        yield Sign(said("Database"), "look", what, cure)
    else:
        mib = store.path.stat().st_size / 2**20
        yield Sign(
            said("Database"),
            "fine",
            said("opens; schema {version}, {mib} MiB", version=version, mib=figure(mib, ".1f")),
        )


def published(mill: Mill) -> Iterator[Sign]:
    """See whether the published copy says what the database says."""
    live = database_of(mill)
    if not live.path.exists():
        return
    cure = said("Run lostpol nightly: every run publishes the copy anew.")
    if not live.published.exists():
        yield Sign(
            said("Published copy"),
            "wrong",
            said("there is none, so readers hold the database"),
            cure,
        )
        return
    copy = published_store_of(mill)
    behind = [
        name
        for name in ("runs", "verdicts", "findings")
        if not getattr(live, name)().equals(getattr(copy, name)())
    ]
    age = now().timestamp() - live.published.stat().st_mtime
    if behind:
        yield Sign(
            said("Published copy"),
            "wrong",
            said("behind the database in {behind}", behind=", ".join(behind)),
            cure,
        )
    else:
        yield Sign(
            said("Published copy"), "fine", said("as the database; made {age}", age=ago(age))
        )


def lock(mill: Mill) -> Iterator[Sign]:
    """See whether a run works now, and for how long already."""
    if not is_running(mill):
        yield Sign(said("Lock"), "fine", said("no run works on the store"))
        return
    started = [line for line in read_log(mill) if line.get("event") == "run started"]
    what = said("a run works on the store now")
    if started:
        what = said(
            "a run works on the store now, since {at} (process {pid})",
            at=started[-1]["at"],
            pid=started[-1]["pid"],
        )
    yield Sign(
        said("Lock"),
        "look",
        what,
        said(
            "Wait. After {longest_run_min} min, look at that process and stop it; the next run "
            "makes good what it left.",
            longest_run_min=mill.schedule.longest_run_min,
        ),
    )


def stopped_pull(mill: Mill) -> Iterator[Sign]:
    """See whether a pull was stopped that the next run can carry out."""
    if unfinished(mill.incoming_path):
        cure = said("Run lostpol nightly: it carries the rest out first.")
        yield Sign(said("Stopped pull"), "look", said("a pull was stopped while storing"), cure)
    else:
        yield Sign(said("Stopped pull"), "fine", said("no pull was stopped"))


def leavings(mill: Mill) -> Iterator[Sign]:
    """See whether remains of stopped runs take up room."""
    if is_running(mill):
        return
    items = list(leftovers(mill))
    if items:
        mib = sum(item.size_bytes for item in items) / 2**20
        what = counted(
            len(items),
            "one of a stopped run, {mib} MiB",
            "{n} files or folders of stopped runs, {mib} MiB",
            mib=figure(mib, ".1f"),
        )
        yield Sign(said("Remains"), "look", what, said("Remove them with lostpol tidy."))


STORE: Final[tuple[tuple[str, Look], ...]] = (
    (said("Store"), folder),
    (said("Lake"), lake),
    (said("Database"), database),
    (said("Published copy"), published),
    (said("Lock"), lock),
    (said("Stopped pull"), stopped_pull),
    (said("Days that wait"), waiting_days),
    (said("Runs"), last_runs),
    (said("Description"), description),
    (said("Readings"), readings),
    (said("Stored days"), stored_days),
    (said("Remains"), leavings),
)
