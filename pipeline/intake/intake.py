"""Every file of a mill looked at: how it is read, what it leaves open, or why it is left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import DataError, Progress, silent
from pipeline.exports import Evidence, export_readings
from pipeline.files import ExportFile
from pipeline.intake.asking import Answers
from pipeline.intake.columns import texts
from pipeline.intake.one_tag import names_of_files, says_when, stem_of
from pipeline.intake.taken import Taken, settled, take
from pipeline.lake import Tally
from pipeline.layouts import Plan
from pipeline.mill import UnitChange, is_unit
from pipeline.words import figure, said

#: Rows in which a time is looked for.
_LOOKED_AT: Final = 100
#: Rows of a file that may be unreadable before it is left, as the pull has it [%].
_MOST_UNREADABLE_PCT: Final = 20.0


@dataclass
class Anyone:
    """A mill that knows these series in the units they come in, and remembers those units.

    What stands beside a number is a unit where it is written like one, or stands in a column of
    units: the reader tries every word it meets.
    """

    zone: str
    unit_changes: Mapping[str, UnitChange]
    units: dict[str, str]
    stated: frozenset[str] = frozenset()
    ambiguous: str = "first"
    missing: str = "shift_forward"

    def change_from(self, tag: str, unit: str) -> UnitChange | None:
        """Leave every value as exported; None for what is no unit."""
        if not is_unit(unit) and unit.strip() not in self.stated:
            return None
        self.units.setdefault(tag, unit)
        return UnitChange()


@dataclass
class Read:
    """Readings of one file, as it is described now.

    Attributes
    ----------
    taken : Taken
    parts : list of polars.DataFrame
        ts_utc, tag, value, bad, reason.
    tally : Tally
    plans : list of Plan
        How its tables were read.
    moments : list of str
        A time of each table as it stands there.
    """

    taken: Taken
    parts: list[pl.DataFrame]
    tally: Tally
    plans: list[Plan]
    moments: list[str] = field(default_factory=list)


def files_in(paths: Sequence[Path]) -> list[Path]:
    """Files named, and those in folders named, each once, in the order of their names."""
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.is_file() and not _hidden(p, path))
            found |= dict.fromkeys(inside)
        else:
            found[path] = None
    return list(found)


def _hidden(path: Path, root: Path) -> bool:
    return any(part.startswith((".", "~$")) for part in path.relative_to(root).parts)


def take_all(
    paths: Sequence[Path],
    given: Mapping[str, object],
    answers: Answers,
    progress: Progress = silent,
) -> list[Taken]:
    """Look at all files; none of them stops the others.

    Parameters
    ----------
    paths : sequence of Path
    given : mapping of str to object
        Keys of layouts that a person gave for all files.
    answers : Answers
    progress : Progress, optional
    """
    found = []
    for number, path in enumerate(paths):
        progress(f"Looking at {path.name}", number, len(paths))
        found.append(take(path, given, answers))
    _name_single_series(found)
    return found


def _name_single_series(found: Sequence[Taken]) -> None:
    """Give files of one series that nothing inside them names the name of file or sheet."""
    headings: dict[str, int] = defaultdict(int)
    for taken in found:
        for p in taken.proposals:
            headings[p.heading] += bool(p.heading)
    single = [
        taken
        for taken in found
        if taken.proposals
        and all(p.one or (p.heading and headings[p.heading] > 1) for p in taken.proposals)
    ]
    by_name = [t for t in single if len(t.proposals) == 1]
    names = names_of_files([t.path.name for t in by_name]) if by_name else []
    for taken, name in zip(by_name, names, strict=True):
        _is_one(taken, [name or stem_of(taken.path.name)])
    for taken in single:
        if len(taken.proposals) > 1:
            sheets = [p.called[0] for p in taken.proposals]
            if all(says_when(s) for s in sheets):
                sheets = [taken.path.stem]
            _is_one(taken, sheets)


def _is_one(taken: Taken, names: Sequence[str]) -> None:
    """Series named by sheets, or by a whole file name, are read so whether described or not."""
    taken.names = set(names)
    told: dict[str, object] = {}
    if names == [p.called[0] for p in taken.proposals] and len(names) > 1:
        told = {"shape": "long", "tag_columns": ["{sheet}"]}
    elif names == [stem_of(taken.path.name)]:
        told = {"shape": "long", "tag_columns": ["{file}"]}
    taken.proposals = [
        replace(
            p,
            keys={k: v for k, v in p.keys.items() if k != "shape"} | told,
            one=True,
            series=(),
        )
        for p in taken.proposals
    ]


def read_all(
    found: Iterable[Taken], answers: Answers, units: dict[str, str], progress: Progress = silent
) -> Iterable[Read]:
    """Readings of every file that can be read, one file at a time.

    A file that turns out not to be readable gets its error; the others go on.
    """
    able = [t for t in found if t.error is None and t.proposals]
    names = {name for taken in able for name in taken.names}
    stated = frozenset(unit for taken in able for p in taken.proposals for unit in p.units)
    clock = Anyone(answers.zone, dict.fromkeys(names, UnitChange()), units, stated)
    for number, taken in enumerate(able):
        progress(f"Reading {taken.path.name}", number, len(able))
        read = Read(taken, [], Tally(), [])
        if settled(taken, answers, lambda read=read: _read(read, clock)):  # type: ignore[misc]
            answers.seen += [w for plan in read.plans for w in plan.time_formats[:1]]
            _keep_what_was_found(read, answers, clock)
            yield read


def _keep_what_was_found(read: Read, answers: Answers, clock: Anyone) -> None:
    """Write into the layout what this file shows and the next one may leave open.

    A week that holds no day after the twelfth, or no number with two marks, would be asked about.
    A format is kept only where it reads the whole file as well as all of them together did.
    """
    taken = read.taken
    marks = {plan.marks for plan in read.plans}
    if len(marks) == 1 and "decimal" not in taken.keys:
        mark = marks.pop()
        if mark.decimal == ",":
            taken.given["decimal"] = ","
            taken.given |= (
                {"thousands": mark.thousands} if mark.thousands in (".", " ", "'") else {}
            )
    formats = {plan.time_formats[:1] for plan in read.plans}
    way = next(iter(formats))[0] if len(formats) == 1 and all(formats) else ""
    if not way.startswith(("%d", "%m")) or "time_format" in taken.keys:
        return
    again = Read(replace(taken, given=taken.given | {"time_format": way}), [], Tally(), [])
    if settled(again.taken, answers, lambda: _read(again, clock)):
        same = again.tally.rows == read.tally.rows and again.tally.refused == read.tally.refused
        if same and len(again.taken.questions) == len(taken.questions):
            taken.given["time_format"] = way


def _read(read: Read, clock: Anyone) -> None:
    read.parts, read.tally, read.plans = [], Tally(), []
    read.moments = []

    def told(_table: ExportFile, plan: Plan, raw: pl.DataFrame, _evidence: Evidence) -> None:
        read.plans.append(plan)
        columns = [plan.date, plan.time] if plan.date else [plan.time]
        cells = [texts(raw[column].head(_LOOKED_AT)) for column in columns]
        read.moments.append(" ".join(next((c for c in cell if c), "") for cell in cells).strip())

    for part in export_readings(read.taken.path, read.taken.layout(), clock, read.tally, told):
        read.parts.append(part)
    tally = read.tally
    if 100.0 * tally.unreadable > _MOST_UNREADABLE_PCT * max(tally.rows, 1):
        raise DataError(
            said(
                "{unreadable} of its {rows} rows make no sense as they were read.",
                unreadable=figure(tally.unreadable, ","),
                rows=figure(tally.rows, ","),
            ),
            str(read.taken.path),
            said("Describe it in an [[exports.layout]]."),
        )
