"""A rotten store made whole: what is not as it was written is set aside and made anew.

Features are worked out and searched again by the run that goes on. Readings, and the notes and
refused rows of exports, are read again from the exports where they still are: in the inbox, or in
a folder that exports were pulled from. What they are needed for and cannot be found is named, with
the command that cures it.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final, TypeVar

import polars as pl

from pipeline.lake import (
    GRID,
    HEALTH,
    REFUSALS,
    SEARCHED,
    SENSORS,
    STATION,
    ZONES,
    DayMerge,
    Lake,
    RottenError,
    Survey,
    day_of,
    lake_of,
    put_seal,
    set_aside,
    survey,
)
from pipeline.mill import Mill
from pipeline.pull import (
    NOTES,
    PullResult,
    Restored,
    Wanted,
    all_notes,
    days_pulled,
    find_export,
    lost,
    open_journal,
    pulled_before,
    restore,
    restorer,
    wait_for,
    wait_no_more,
    waiting,
    wanted_by,
    wanted_for,
)
from pipeline.stages.search_results import forget
from pipeline.store import store_of
from pipeline.words import joined, said

T = TypeVar("T")
#: Kinds of features that each day is worked out into; the others are what a search says.
_OF_A_DAY: Final = (GRID, STATION, ZONES, HEALTH, SENSORS)
#: How often a piece of work is begun anew because something rotten was met.
_MOST_TIMES: Final = 3


@dataclass(frozen=True, slots=True)
class Mended:
    """What became of something rotten or missing.

    Attributes
    ----------
    what : str
        What it was, for people: ``readings of 2025-10-13``.
    how : str
        How it showed, where it is kept, and what was done.
    cure : str
        What a person has to do; empty when nothing.
    day : date or None
        Day whose readings were brought back, as far as they could be.
    """

    what: str
    how: str
    cure: str = ""
    day: date | None = None


def mending(mill: Mill, work: Callable[[], T], tell: Callable[[Mended], object]) -> T:
    """Carry out work; whenever it meets something rotten, mend the store and begin anew."""
    for _ in range(_MOST_TIMES):
        try:
            return work()
        except RottenError:
            for mended in mend(mill):
                tell(mended)
    return work()


def mend(mill: Mill) -> list[Mended]:
    """Look at every stored file; set aside what is rotten, and bring back what can be.

    Days that have to be worked out again wait for the next `derive`, search windows for the next
    `detect`. Files from before there were hashes get theirs.
    """
    lake = lake_of(mill)
    seen = survey(lake.storage)
    for name in seen.bare:
        put_seal(lake.storage, name)
    return _mended(mill, lake, seen.rotten, _gone(lake))


def mend_days_of(mill: Mill, files: Sequence[Path]) -> list[Mended]:
    """Look at the days that some exports held when they were pulled before, and at their ledgers.

    So pulling an export once more repairs what came from it.
    """
    lake = lake_of(mill)
    names: set[str] = set()
    for path in files:
        try:
            note = pulled_before(lake.storage, path)
        except RottenError:
            names |= set(lake.storage.find(f"{NOTES}/*.json"))
            continue
        if note is not None:
            names |= {lake.readings_name(date.fromisoformat(day)) for day in note.days}
            names |= set(lake.storage.find(f"{REFUSALS}/{note.ledger.sha256}.parquet"))
    rotten = survey(lake.storage, sorted(names)).rotten if names else {}
    if not rotten and not waiting(lake.storage) and not lost(lake.storage):
        return []
    return _mended(mill, lake, rotten, ())


def told_of_rot(mill: Mill) -> tuple[list[Mended], Survey]:
    """Everything rotten or incomplete, each with its cure; changes nothing."""
    lake = lake_of(mill)
    seen, notes, find = survey(lake.storage), all_notes(lake.storage), finder(mill)
    told = []
    for name, how in seen.rotten.items():
        day, wants = day_of(name), tuple[Wanted, ...]()
        if name.startswith("readings/") and day is not None:
            wants = wanted_by(notes, day)
        elif not name.startswith("features/"):
            wants = wanted_for(name, notes)
        absent = [wanted for wanted in wants if find(wanted) is None]
        config = shlex.quote(str(mill.config_path))
        cure = said("Run lostpol backfill {path}", path=config)
        if absent or not (wants or name.startswith("features/")):
            cure = cure_of(mill, day, absent)
        elif wants:
            names = sorted({_with_name(mill, wanted).name for wanted in wants})
            cure = said(
                "Run lostpol backfill {path}: it reads {names} again",
                path=config,
                names=", ".join(names),
            )
        told.append(Mended(in_words(name), how, cure))
    for day, wants in waiting(lake.storage).items():
        how = said("incomplete since a rotten file was set aside")
        told.append(Mended(said("readings of {day}", day=day), how, cure_of(mill, day, wants)))
    for name in lost(lake.storage):
        cure = cure_of(mill, None, wanted_for(name, notes))
        how = said("rotten, set aside, and its export not found")
        told.append(Mended(in_words(name), how, cure))
    return told, seen


def cure_of(mill: Mill, day: date | None, wants: Sequence[Wanted]) -> str:
    """Give the command that brings back what some exports held."""
    direct = {source.label for source in mill.sources}
    wants = [_with_name(mill, wanted) for wanted in wants]
    config = shlex.quote(str(mill.config_path))
    files = sorted({wanted.name for wanted in wants if wanted.layout not in direct})
    commands = [f"lostpol pull {config} {' '.join(map(shlex.quote, files))}"] if files else []
    if day is not None and any(wanted.layout in direct for wanted in wants):
        commands.append(f"lostpol pull {config} --from-source --from {day} --to {day}")
    if not commands:
        commands = [
            said("lostpol pull {config} FILES... with the exports of that day", config=config)
        ]
    return said(
        "{commands}; then lostpol backfill {path}",
        commands=joined(said(", and "), commands),
        path=config,
    )


def _with_name(mill: Mill, wanted: Wanted) -> Wanted:
    """Export with what it was called, as the findings store has it when its note is lost."""
    if wanted.name:
        return wanted
    store = store_of(mill)
    rows = store.sources() if store.path.exists() else pl.DataFrame({"sha256": [], "name": []})
    names = rows.filter(pl.col("sha256") == wanted.sha256)["name"].to_list()
    return replace(wanted, name=names[0] if names else f"SHA256-{wanted.sha256}")


def _mended(mill: Mill, lake: Lake, rotten: dict[str, str], gone: Sequence[date]) -> list[Mended]:
    """Set rotten files aside, bring back what can be, and note what is to be worked out."""
    # What has to follow is noted first: a run stopped here must leave nothing unseen.
    features = [name for name in rotten if name.startswith("features/")]
    days = [d for name in rotten if name.startswith("readings/") and (d := day_of(name))]
    notes = all_notes(lake.storage) if days or gone else []
    for day in (*days, *gone):
        wait_for(lake.storage, day, wanted_by(notes, day))
    minutes = [d for name in features if _kind(name) in _OF_A_DAY and (d := day_of(name))]
    if waits := sorted({*days, *gone, *minutes}):
        store_of(mill).record_pull([], waits)
    searches = [name for name in features if _kind(name) == SEARCHED]
    kept = {name: set_aside(lake.storage, name) for name in searches}
    forget(lake, sorted({d for name in features if (d := day_of(name))}))
    kept |= {name: set_aside(lake.storage, name) for name in rotten if name not in kept}
    kept = {
        name: said("{how}; set aside as {where}", how=rotten[name], where=where)
        for name, where in kept.items()
    }
    told = [
        Mended(in_words(name), said("{how}; worked out again", how=kept[name])) for name in features
    ]
    journal = open_journal(mill.store_path)
    with restorer(mill, lake, finder(mill), journal.imports) as by:
        back = restore(by, lambda sha256: _counts(mill, sha256))
    if changed := [restored.day for restored in back if restored.day is not None]:
        store_of(mill).record_pull([], changed)
    return told + [_told(mill, restored, kept) for restored in back]


def _told(mill: Mill, restored: Restored, kept: dict[str, str]) -> Mended:
    day = day_of(restored.name)
    how = joined("; ", (kept.get(restored.name, said("missing")), restored.how))
    cure = "" if restored.whole else cure_of(mill, day, restored.wants)
    return Mended(in_words(restored.name), how, cure, restored.day)


def in_words(name: str) -> str:
    """Stored file as people call it."""
    day, levels = day_of(name), name.split("/")
    if day is None:
        if levels[0] == NOTES:
            return said("note on an export, {file}", file=levels[-1])
        return said("refused rows of an export, {file}", file=levels[-1])
    if levels[0] == "readings":
        return said("readings of {day}", day=day)
    return said("features {kind} of {day}", kind=levels[1], day=day)


def _kind(name: str) -> str:
    """Kind of features of a stored file."""
    return name.split("/")[1]


def answered(mill: Mill, result: PullResult) -> None:
    """Let days wait no more for what a direct source answered anew, or nobody could name."""
    storage = lake_of(mill).storage
    for day, wants in waiting(storage).items():
        again = {
            ledger.layout
            for ledger in result.sources
            if ledger.layout and ledger.first_utc and ledger.last_utc
            and ledger.first_utc.date() <= day <= ledger.last_utc.date()
        }  # fmt: skip
        direct = again & {source.label for source in mill.sources}
        left = [wanted for wanted in wants if wanted.layout not in direct]
        if left and len(left) < len(wants):
            wait_for(storage, day, left)
        elif not left and (wants or day in result.days_changed):
            wait_no_more(storage, day)


def _gone(lake: Lake) -> list[date]:
    """Days that exports held, that are not stored, and that no tidying removed."""
    days = lake.days()
    marked = waiting(lake.storage)
    pulled = days_pulled(lake.storage)
    return sorted(d for d in pulled - set(days) - marked.keys() if days and d >= days[0])


def finder(mill: Mill) -> Callable[[Wanted], Path | None]:
    """Give what looks for exports: in the inbox and where exports were pulled from."""
    folders = [Path(folder) for folder in open_journal(mill.store_path).folders]
    if mill.inbox_path is not None:
        folders.insert(0, mill.inbox_path)
    known: dict[str, Path | None] = {}

    def find(wanted: Wanted) -> Path | None:
        if wanted.sha256 not in known:
            known[wanted.sha256] = find_export(
                folders, wanted.name, wanted.size_bytes, wanted.sha256
            )
        return known[wanted.sha256]

    return find


def _counts(mill: Mill, sha256: str) -> DayMerge | None:
    """What became of the rows of an export, as the findings store has it."""
    store = store_of(mill)
    rows = store.sources().filter(pl.col("sha256") == sha256) if store.path.exists() else None
    if rows is None or rows.is_empty():
        return None
    row = rows.row(0, named=True)
    return DayMerge(row["rows_kept"], row["rows_merged"], row["rows_conflicting"])


def lines_of(found: Sequence[Mended]) -> Iterator[str]:
    """What was mended, as lines for a person."""
    for mended in found:
        yield said("{what}: {how}", what=mended.what, how=mended.how)
        if mended.cure:
            yield said("  -> {cure}", cure=mended.cure)
