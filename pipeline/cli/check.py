"""A look at a mill's description and at the readings pulled so far, all faults at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

from features.base import COMPANION, Station
from pipeline.base import DataError
from pipeline.cli.worth import worth_lines, worth_of_files
from pipeline.files import shown
from pipeline.lake import HEALTH, lake_of, tag_health
from pipeline.mill import Mill
from pipeline.words import counted, joined, said

#: Days of readings looked at, counted back from the last one.
_DAYS: Final = 7
#: Lines shown on what exports showed, and on tags that the mill does not have.
_MOST_NOTES: Final = 10
_MOST_TAGS: Final = 60
#: Tags named of those that are missing: an export of the laboratory alone lacks all the others.
_MOST_MISSING: Final = 5
#: A tag with more bad readings than this share is worth a line [%]; common practice.
_MUCH_BAD_PCT: Final = 10.0


def check_mill(mill: Mill) -> Iterator[str]:
    """Check the readings of the last days against the description.

    Yields
    ------
    str
        Lines to show, what the answer will be worth among them.

    Raises
    ------
    DataError
        At the end: tags without readings, or with many bad ones, with counts.
    """
    station = mill.station
    yield said(
        "{mill}: the description is sound. {tags} tags, {series} lab series, {vessels} vessels; "
        "times in {zone}.",
        mill=mill.name,
        tags=len(station.signals),
        series=len(station.lab),
        vessels=len(station.vessels),
        zone=mill.zone,
    )
    yield from _without_companion(station)
    yield from _unconfirmed(mill)
    if not station.vessels:
        yield said("It names no vessels: readings can be pulled, but no loss worked out.")
    yield from worth_lines(mill, _DAYS)
    lake = lake_of(mill)
    days = lake.days()
    if not days:
        yield said("No readings yet. Next: lostpol pull MILL FILES...")
        return
    # What looks into a store; a description that has none yet is told without it.
    from pipeline.present import filtrate_line  # noqa: PLC0415
    from pipeline.pull import shown_lately  # noqa: PLC0415
    from pipeline.store import store_of  # noqa: PLC0415

    waiting = store_of(mill).pending_days()
    if waiting:
        yield counted(
            len(waiting),
            "{n} day waits to be worked out. Next: lostpol backfill MILL",
            "{n} days wait to be worked out. Next: lostpol backfill MILL",
        )
    last = days[-1]
    notes = shown_lately(lake.storage, last - timedelta(days=_DAYS - 1))
    if notes:
        yield said(
            "Exports that reach into the last {days} days showed, and were read:", days=_DAYS
        )
        yield from _few([f"- {shown(note, 300)}" for note in notes], _MOST_NOTES, said("lines"))
    if last not in set(lake.feature_days(HEALTH)):
        return
    if returned := filtrate_line(mill, last - timedelta(days=_DAYS - 1), last):
        yield returned
    _raise_faults(tag_health(mill, last - timedelta(days=_DAYS - 1), last).to_dicts())
    yield said(
        "Readings reach from {first} to {last}; every tag reports.", first=days[0], last=last
    )


def _raise_faults(health: Sequence[dict[str, Any]]) -> None:
    """Raise for silent and troubled tags, when there are any; the silent ones in few lines."""
    silent = [
        said("- {tag}: no readings", tag=row["tag"]) for row in health if row["readings"] == 0
    ]
    bad = [line for row in health if (line := _tag_fault(row))]
    if silent or bad:
        lines = [*_few(silent, _MOST_MISSING, said("without readings")), *bad]
        raise DataError(
            said(
                "{tags} tags have no readings, or many bad ones, in the last {days} days.",
                tags=len(silent) + len(bad),
                days=_DAYS,
            ),
            joined("\n", ["", *lines]),
            said(
                "Pull the exports that hold them, or correct the tag names, ranges and units in "
                "the description. What only a later export holds may wait until that is pulled."
            ),
        )


def _without_companion(station: Station) -> list[str]:
    """Reducing sugars whose Brix or pol no series tells: none of their results can be used."""
    known = {(s.analyte, s.place, s.port) for s in station.lab}
    return [
        said(
            'lab."{tag}" is told on {basis}, but no lab series is the {analyte} of the same '
            "point: its results cannot be used.",
            tag=shown(s.tag),
            basis=s.basis,
            analyte=said("Brix") if s.basis == "solids" else said("pol"),
        )
        for s in station.lab
        if s.basis != "juice" and (COMPANION[s.basis], s.place, s.port) not in known
    ]


def _unconfirmed(mill: Mill) -> Iterator[str]:
    """Lines of a drafted description that nobody has confirmed yet."""
    try:
        text = mill.config_path.read_text(encoding="utf-8")
    except OSError:
        return
    marked = [line.partition("#")[0].strip() for line in text.splitlines() if "CONFIRM" in line]
    keys = list(dict.fromkeys(k for line in marked if (k := line.partition("=")[0].strip())))
    if marked:
        named = said(", such as {keys}", keys=", ".join(keys[:4])) if keys else ""
        yield said(
            "{lines} lines of it are still marked CONFIRM{named}: what they say was guessed. Take "
            "the mark out of what you have checked.",
            lines=len(marked),
            named=named,
        )


def check_exports(
    mill: Mill, files: Sequence[Path], tell: Callable[[str], None] | None = None
) -> list[str]:
    """Show what is understood of some exports and compare their tags with the description.

    Nothing is stored.

    Parameters
    ----------
    mill : Mill
    files : sequence of Path
    tell : callable, optional
        Given what was understood of each file and what the answer will be worth with them, line
        by line, before any fault of tags is raised.

    Returns
    -------
    list of str
        Lines to show when all is well.

    Raises
    ------
    DataError
        A file cannot be read, too much of it makes no sense, or the description names tags
        that none of the files has.
    """
    # All that reads exports; a look at the description alone needs none of it.
    from pipeline.exports import survey_export  # noqa: PLC0415

    known: set[str] = set()
    unknown: set[str] = set()
    senseless, unread = [], list[DataError]()
    ranges = {signal.tag: (signal.low, signal.high) for signal in mill.station.signals}
    for path in files:
        try:
            survey = survey_export(mill, path, ranges)
        except DataError as error:
            unread.append(error)
            continue
        if tell is not None:
            for line in survey.lines:
                tell(line)
        known |= survey.known_tags
        unknown |= survey.unknown_tags
        if survey.unreadable * 100.0 > survey.rows * mill.exports.most_refused_pct:
            senseless.append(
                said(
                    "- {path}: {unreadable} of {rows} values",
                    path=path,
                    unreadable=survey.unreadable,
                    rows=survey.rows,
                )
            )
    if unread:
        raise _all_of(unread)
    if senseless:
        raise DataError(
            said("Too many values have a time, tag or number that cannot be read."),
            joined("\n", ["", *senseless]),
            said(
                "Describe these files in an [[exports.layout]] (time_format, decimal, "
                "no_result_words), or raise exports.most_refused_pct."
            ),
        )
    if tell is not None:
        for line in worth_of_files(mill, known):
            tell(line)
    missing = sorted(mill.unit_changes.keys() - known)
    also = [
        said("- {tag}: in the files, not in the description", tag=shown(tag))
        for tag in sorted(unknown)
    ]
    also = _few(also, _MOST_TAGS, said("tags of the files"))
    absent = [said("- {tag}: not in the files", tag=tag) for tag in missing]
    if missing:
        raise DataError(
            said(
                "{missing} of the {all} tags and lab series of the description are in none of "
                "these files.",
                missing=len(missing),
                all=len(mill.unit_changes),
            ),
            joined("\n", ["", *_few(absent, _MOST_MISSING, said("not in the files")), *also]),
            said(
                "Name the files that hold them as well, or correct the names in the description. "
                "A part of the exports can be pulled as it is: what they lack can be pulled later."
            ),
        )
    return [
        said("{mill}: every tag of the description is in these files.", mill=mill.name),
        *also,
    ]


def _all_of(errors: list[DataError]) -> DataError:
    """One error for all files that cannot be read, or leave something open."""
    if len(errors) == 1:
        return errors[0]
    return DataError(
        said("{n} files cannot be read as they are.", n=len(errors)),
        joined(
            "\n",
            [
                "",
                *(
                    said("{n}. {where}: {what}", n=n, where=e.where, what=e.what)
                    for n, e in enumerate(errors, 1)
                ),
            ],
        ),
        joined(
            "\n",
            ["", *(said("{n}. {cure}", n=n, cure=e.next_step) for n, e in enumerate(errors, 1))],
        ),
    )


def _few(lines: list[str], most: int, what: str) -> list[str]:
    """The first lines, and how many more there are."""
    more = len(lines) - most
    return (
        lines
        if more <= 0
        else [*lines[:most], said("and {more} more {what}", more=more, what=what)]
    )


def _tag_fault(row: dict[str, Any]) -> str | None:
    """One line for a tag with many bad readings."""
    if 100.0 * row["bad"] > _MUCH_BAD_PCT * row["readings"]:
        return said(
            "- {tag}: {bad} of {readings} readings bad ({reasons})",
            tag=row["tag"],
            bad=row["bad"],
            readings=row["readings"],
            reasons=row["reasons"],
        )
    return None
