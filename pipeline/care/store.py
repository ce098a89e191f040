"""Looks at the store: database, published copy, lock, waiting days, stopped pulls, leavings."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import is_running, now
from pipeline.care.signs import Look, Sign, State
from pipeline.care.tidy import leftovers
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.pull import days_pulled, unfinished
from pipeline.run import read_log
from pipeline.stages import told_of_rot
from pipeline.store import (
    MIGRATIONS,
    Store,
    opened,
    published_store_of,
    read_through,
    refuse_newer,
    store_of,
)
from pipeline.words import silence_words

#: Rotten files named one by one.
_MOST_NAMED: Final = 20
#: How long the database is waited for here [s].
_PATIENCE_S: Final = 2.0
#: A mill without readings for longer stands still between seasons [h].
_OFF_SEASON_H: Final = 21 * 24.0


def _store(mill: Mill) -> Store:
    return Store(mill.database_path, mill.key, patience_s=_PATIENCE_S)


def folder(mill: Mill) -> Iterator[Sign]:
    """See whether there is a store that may be written to."""
    path = mill.store_path
    if not path.is_dir():
        cure = "Pull exports with lostpol pull, then run lostpol backfill."
        yield Sign("Store", "look", f"{path} does not exist yet", cure)
    elif not os.access(path, os.W_OK | os.X_OK):
        cure = "Give the user who runs lostpol the right to write there."
        yield Sign("Store", "wrong", f"{path} cannot be written to", cure)
    else:
        yield Sign("Store", "fine", str(path))


def lake(mill: Mill) -> Iterator[Sign]:
    """See whether the lake can be reached and written; an object store is tried with a small one.

    A folder is only made by a pull.
    """
    where = mill.lake_path
    if isinstance(where, Path) and not where.is_dir():
        cure = "Pull exports with lostpol pull; if there were some, see that its disk is mounted."
        yield Sign("Lake", "look", f"{where} does not exist yet", cure)
        return
    lake_of(mill).storage.make_ready()
    yield Sign("Lake", "fine", f"can be reached and written: {where}")


def database(mill: Mill) -> Iterator[Sign]:
    """See whether the database can be opened, and is of this version."""
    store = _store(mill)
    if not store.path.exists() and store.published.exists():
        # Told to go on from it, a person must be able to.
        with opened(store.published, read_only=True, patience_s=_PATIENCE_S) as connection:
            read_through(connection)
        age = _ago(now().timestamp() - store.published.stat().st_mtime)
        what = f"{store.path.name} is gone; its published copy, made {age}, is there"
        cure = (
            "Nothing, if that age is right: the next run goes on from the copy, verdicts included."
        )
        yield Sign("Database", "wrong", what, cure)
        return
    if not store.path.exists():
        cure = "Run lostpol backfill once exports were pulled."
        yield Sign("Database", "look", "there is none yet", cure)
        return
    with opened(store.path, read_only=True, patience_s=_PATIENCE_S) as connection:
        version = refuse_newer(connection, store.path)
    if version < len(MIGRATIONS):
        what = f"schema {version} of {len(MIGRATIONS)}"
        cure = "Nothing: the next run brings it up to date, after a backup beside it."
        yield Sign("Database", "look", what, cure)
    else:
        mib = store.path.stat().st_size / 2**20
        yield Sign("Database", "fine", f"opens; schema {version}, {mib:.1f} MiB")


def published(mill: Mill) -> Iterator[Sign]:
    """See whether the published copy says what the database says."""
    live = _store(mill)
    if not live.path.exists():
        return
    cure = "Run lostpol nightly: every run publishes the copy anew."
    if not live.published.exists():
        yield Sign("Published copy", "wrong", "there is none, so readers hold the database", cure)
        return
    copy = published_store_of(mill)
    behind = [
        name
        for name in ("runs", "verdicts", "findings")
        if not getattr(live, name)().equals(getattr(copy, name)())
    ]
    age = now().timestamp() - live.published.stat().st_mtime
    if behind:
        yield Sign("Published copy", "wrong", f"behind the database in {', '.join(behind)}", cure)
    else:
        yield Sign("Published copy", "fine", f"as the database; made {_ago(age)}")


def lock(mill: Mill) -> Iterator[Sign]:
    """See whether a run works now, and for how long already."""
    if not is_running(mill):
        yield Sign("Lock", "fine", "no run works on the store")
        return
    started = [line for line in read_log(mill) if line.get("event") == "run started"]
    since = f", since {started[-1]['at']} (process {started[-1]['pid']})" if started else ""
    yield Sign(
        "Lock",
        "look",
        f"a run works on the store now{since}",
        f"Wait. After {mill.schedule.longest_run_min} min, look at that process and stop it; the "
        "next run makes good what it left.",
    )


def waiting_days(mill: Mill) -> Iterator[Sign]:
    """See whether readings wait to be worked out."""
    store = _store(mill)
    days = store.pending_days() if store.path.exists() else ()
    if not days:
        yield Sign("Days that wait", "fine", "none")
        return
    what = f"{len(days)} days wait to be worked out, {days[0]} to {days[-1]}"
    yield Sign("Days that wait", "look", what, "Run lostpol nightly, or wait for the next run.")


def stopped_pull(mill: Mill) -> Iterator[Sign]:
    """See whether a pull was stopped that the next run can carry out."""
    if unfinished(mill.incoming_path):
        cure = "Run lostpol nightly: it carries the rest out first."
        yield Sign("Stopped pull", "look", "a pull was stopped while storing", cure)
    else:
        yield Sign("Stopped pull", "fine", "none")


def leavings(mill: Mill) -> Iterator[Sign]:
    """See whether remains of stopped runs take up room."""
    if is_running(mill):
        return
    items = list(leftovers(mill))
    if items:
        mib = sum(item.size_bytes for item in items) / 2**20
        many = len(items) > 1
        rest = f"{len(items)} files or folders of stopped runs" if many else "one of a stopped run"
        what = f"{rest}, {mib:.1f} MiB"
        yield Sign("Remains", "look", what, "Remove them with lostpol tidy.")


def last_runs(mill: Mill) -> Iterator[Sign]:
    """See when a run last ended, and whether it failed."""
    store = _store(mill)
    if not store.path.exists():
        return
    whole = store.stages().filter(pl.col("number") == 0)
    if whole.is_empty():
        cure = "Run lostpol backfill, then set up the schedule (configs/README.md)."
        yield Sign("Runs", "look", "no run is on record", cure)
        return
    last = whole.row(-1, named=True)
    ended = last["started_at"] + timedelta(seconds=last["took_s"])
    ago = _ago((now() - ended).total_seconds())
    if last["state"] == "failed":
        cure = "Put right what it names, then run lostpol nightly."
        yield Sign("Runs", "wrong", f"the last {last['flow']} run failed: {last['error']}", cure)
    elif now() - ended > timedelta(hours=26):
        cure = "See that the timer, cron line or lostpol serve is there and runs."
        yield Sign("Runs", "wrong", f"the last run ended {ago}; one is due every night", cure)
    elif last["error"]:
        what = f"the last {last['flow']} run ended {ago} and made its report, but: {last['error']}"
        yield Sign("Runs", "wrong", what, "Put right what it names.")
    else:
        yield Sign("Runs", "fine", f"the last run ended {ago} and took {last['took_s']:.0f} s")


def description(mill: Mill) -> Iterator[Sign]:
    """See whether the description is what the last run used."""
    store = store_of(mill)
    if not store.path.exists():
        return
    runs = _store(mill).runs().filter(pl.col("state") == "finished").sort("finished_at")
    if runs.is_empty():
        return
    if runs["config_hash"][-1] != mill.config_hash:
        what = "changed since the last run"
        cure = "Nothing, if you meant it: the next run works out all days anew and takes longer."
        yield Sign("Description", "look", what, cure)
    else:
        yield Sign("Description", "fine", "as the last run used it")


def readings(mill: Mill) -> Iterator[Sign]:
    """See whether the newest stored day can be read, and is recent."""
    held = lake_of(mill)
    days = held.days()
    if not days:
        yield Sign("Readings", "look", "none yet", "Pull exports with lostpol pull.")
        return
    end = held.read_readings(days[-1], days[-1])["ts_utc"].max()
    if not isinstance(end, datetime):
        return
    behind_h = (now() - end).total_seconds() / 3600.0
    text = f"they end at {end:%Y-%m-%d %H:%M} UTC"
    if behind_h < -1.0:
        cure = (
            "Set the clock of this machine or of the historian right; if the exports say a wrong "
            "zone, correct time_zone in the description and pull them with --corrects."
        )
        yield Sign("Readings", "wrong", f"{text}, {-behind_h:.1f} h from now: in the future", cure)
    elif behind_h > 26.0:
        cure = "See why exports no longer arrive: the export job, the inbox, the network drive."
        state: State = "wrong" if behind_h < _OFF_SEASON_H else "look"
        what = f"{silence_words(end, now(), mill.tz).rstrip('.')}; {text}"
        yield Sign("Readings", state, f"{what}, {behind_h / 24.0:.1f} days ago", cure)
    else:
        yield Sign("Readings", "fine", text)


def stored_days(mill: Mill) -> Iterator[Sign]:
    """See whether every day that was pulled is there, and every stored file as it was written."""
    held = lake_of(mill)
    days = held.days()
    if not days:
        return
    rotten, seen = told_of_rot(mill)
    for item in rotten[:_MOST_NAMED]:
        yield Sign("Stored days", "wrong", f"{item.what}: {item.how}", item.cure)
    if len(rotten) > _MOST_NAMED:
        what = f"{len(rotten) - _MOST_NAMED} more stored files are not as they were written"
        cure = f"Run lostpol backfill {mill.config_path}: it names each of them."
        yield Sign("Stored days", "wrong", what, cure)
    pulled = days_pulled(held.storage)
    gone = sorted(day for day in pulled - set(days) if day >= days[0])
    if gone:
        named = ", ".join(str(day) for day in gone[:3])
        more = f" and {len(gone) - 3} more" if len(gone) > 3 else ""
        cure = "Pull the exports of these days again: lostpol pull MILL FILES."
        yield Sign("Stored days", "wrong", f"readings of {named}{more} are gone", cure)
    if not gone and not rotten:
        bare = len(seen.bare)
        more = f"; {bare} files have no hash yet, the next backfill gives it" * bool(bare)
        what = f"{len(days)} days, all there; {seen.files - bare} files as they were written{more}"
        yield Sign("Stored days", "fine", what)


def _ago(seconds: float) -> str:
    if seconds < 5400.0:
        return f"{seconds / 60.0:.0f} min ago"
    return f"{seconds / 3600.0:.0f} h ago" if seconds < 172800.0 else f"{seconds / 86400:.0f} d ago"


STORE: Final[tuple[tuple[str, Look], ...]] = (
    ("Store", folder),
    ("Lake", lake),
    ("Database", database),
    ("Published copy", published),
    ("Lock", lock),
    ("Stopped pull", stopped_pull),
    ("Days that wait", waiting_days),
    ("Runs", last_runs),
    ("Description", description),
    ("Readings", readings),
    ("Stored days", stored_days),
    ("Remains", leavings),
)
