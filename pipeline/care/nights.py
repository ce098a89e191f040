"""Looks at what runs made of the store: runs, days that wait, readings and stored files."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pipeline.base import now
from pipeline.care.signs import Sign, State, ago, database_of
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.pull import days_pulled
from pipeline.stages import told_of_rot
from pipeline.store import store_of
from pipeline.words import counted, figure, said, silence_words

#: Rotten files named one by one.
_MOST_NAMED: Final = 20
#: A mill without readings for longer stands still between seasons [h].
_OFF_SEASON_H: Final = 21 * 24.0


def waiting_days(mill: Mill) -> Iterator[Sign]:
    """See whether readings wait to be worked out."""
    store = database_of(mill)
    days = store.pending_days() if store.path.exists() else ()
    if not days:
        yield Sign(said("Days that wait"), "fine", said("no day waits"))
        return
    what = counted(
        len(days),
        "{n} day waits to be worked out, {first}",
        "{n} days wait to be worked out, {first} to {last}",
        first=days[0],
        last=days[-1],
    )
    yield Sign(
        said("Days that wait"), "look", what, said("Run lostpol nightly, or wait for the next run.")
    )


def last_runs(mill: Mill) -> Iterator[Sign]:
    """See when a run last ended, and whether it failed."""
    store = database_of(mill)
    if not store.path.exists():
        return
    whole = store.stages().filter(pl.col("number") == 0)
    if whole.is_empty():
        cure = said("Run lostpol backfill, then set up the schedule (configs/README.md).")
        yield Sign(said("Runs"), "look", said("no run is on record"), cure)
        return
    last = whole.row(-1, named=True)
    ended = last["started_at"] + timedelta(seconds=last["took_s"])
    since = ago((now() - ended).total_seconds())
    if last["state"] == "failed":
        cure = said("Put right what it names, then run lostpol nightly.")
        yield Sign(
            said("Runs"),
            "wrong",
            said("the last {flow} run failed: {why}", flow=last["flow"], why=last["error"]),
            cure,
        )
    elif now() - ended > timedelta(hours=26):
        cure = said("See that the timer, cron line or lostpol serve is there and runs.")
        yield Sign(
            said("Runs"),
            "wrong",
            said("the last run ended {ago}; one is due every night", ago=since),
            cure,
        )
    elif last["error"]:
        what = said(
            "the last {flow} run ended {ago} and made its report, but: {why}",
            flow=last["flow"],
            ago=since,
            why=last["error"],
        )
        yield Sign(said("Runs"), "wrong", what, said("Put right what it names."))
    else:
        yield Sign(
            said("Runs"),
            "fine",
            said(
                "the last run ended {ago} and took {took_s} s",
                ago=since,
                took_s=figure(last["took_s"], ".0f"),
            ),
        )


def description(mill: Mill) -> Iterator[Sign]:
    """See whether the description is what the last run used."""
    store = store_of(mill)
    if not store.path.exists():
        return
    runs = database_of(mill).runs().filter(pl.col("state") == "finished").sort("finished_at")
    if runs.is_empty():
        return
    if runs["config_hash"][-1] != mill.config_hash:
        what = said("changed since the last run")
        cure = said(
            "Nothing, if you meant it: the next run works out all days anew and takes longer."
        )
        yield Sign(said("Description"), "look", what, cure)
    else:
        yield Sign(said("Description"), "fine", said("as the last run used it"))


def readings(mill: Mill) -> Iterator[Sign]:
    """See whether the newest stored day can be read, and is recent."""
    held = lake_of(mill)
    days = held.days()
    if not days:
        yield Sign(
            said("Readings"), "look", said("none yet"), said("Pull exports with lostpol pull.")
        )
        return
    end = held.read_readings(days[-1], days[-1])["ts_utc"].max()
    if not isinstance(end, datetime):
        return
    behind_h = (now() - end).total_seconds() / 3600.0
    text = said("they end at {end} UTC", end=f"{end:%Y-%m-%d %H:%M}")
    if behind_h < -1.0:
        cure = said(
            "Set the clock of this machine or of the historian right; if the exports say a wrong "
            "zone, correct time_zone in the description and pull them with --corrects."
        )
        yield Sign(
            said("Readings"),
            "wrong",
            said(
                "{text}, {hours} h from now: in the future",
                text=text,
                hours=figure(-behind_h, ".1f"),
            ),
            cure,
        )
    elif behind_h > 26.0:
        cure = said(
            "See why exports no longer arrive: the export job, the inbox, the network drive."
        )
        state: State = "wrong" if behind_h < _OFF_SEASON_H else "look"
        silence = silence_words(end, now(), mill.tz).rstrip(".")
        yield Sign(
            said("Readings"),
            state,
            said(
                "{silence}; {text}, {days} days ago",
                silence=silence,
                text=text,
                days=figure(behind_h / 24.0, ".1f"),
            ),
            cure,
        )
    else:
        yield Sign(said("Readings"), "fine", text)


def stored_days(mill: Mill) -> Iterator[Sign]:
    """See whether every day that was pulled is there, and every stored file as it was written."""
    held = lake_of(mill)
    days = held.days()
    if not days:
        return
    rotten, seen = told_of_rot(mill)
    for item in rotten[:_MOST_NAMED]:
        yield Sign(
            said("Stored days"),
            "wrong",
            said("{what}: {how}", what=item.what, how=item.how),
            item.cure,
        )
    if len(rotten) > _MOST_NAMED:
        what = said(
            "{more} more stored files are not as they were written",
            more=len(rotten) - _MOST_NAMED,
        )
        cure = said(
            "Run lostpol backfill {path}: it names each of them.",
            path=mill.config_path,
        )
        yield Sign(said("Stored days"), "wrong", what, cure)
    pulled = days_pulled(held.storage)
    gone = sorted(day for day in pulled - set(days) if day >= days[0])
    if gone:
        named = ", ".join(str(day) for day in gone[:3])
        cure = said("Pull the exports of these days again: lostpol pull MILL FILES.")
        yield Sign(
            said("Stored days"),
            "wrong",
            said("readings of {named} are gone", named=named)
            if len(gone) <= 3
            else said(
                "readings of {named} and {more} more are gone", named=named, more=len(gone) - 3
            ),
            cure,
        )
    if not gone and not rotten:
        bare = len(seen.bare)
        what = said(
            "{days} days, all there; {files} files as they were written",
            days=len(days),
            files=seen.files - bare,
        )
        if bare:
            what = said(
                "{what}; {bare} files have no hash yet, the next backfill gives it",
                what=what,
                bare=bare,
            )
        yield Sign(said("Stored days"), "fine", what)
