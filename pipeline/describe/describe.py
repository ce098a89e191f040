"""Drafts a mill's description from its exports, for the user to confirm line by line.

The draft loads as it stands. What is guessed carries its reason and how sure it is; what cannot
be known from exports, such as volumes, is marked CONFIRM. No file stops the others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import ConfigError, DataError, Progress, silent
from pipeline.describe.draft import Draft, DraftedVessel
from pipeline.describe.head_lines import Money, mill_lines, time_lines
from pipeline.describe.lab import guess_lab, lab_series
from pipeline.describe.lists import Size, TagList, read_sizes, read_tag_list
from pipeline.describe.series import kept_lines, lab_lines, tag_lines
from pipeline.describe.train import drafted_train, missing_points, target_lines, train_lines
from pipeline.files import shown
from pipeline.intake import (
    Answers,
    Chooser,
    FileVerdict,
    Question,
    Table,
    Taken,
    Verdict,
    file_lines,
    files_in,
    layout_sections,
    question_lines,
    read_all,
    remark,
    take_all,
    verdict_of,
    why_left,
)
from pipeline.mill import zone_faults
from pipeline.places import MOST_TAGS, Looks, TagLook, guess_tags
from pipeline.words import said

#: Given a vessel, its volume [m3] as a person knows it, or None.
Measure = Callable[[DraftedVessel], float | None]
_NO_PRICE: Final = Money()
_NO_ZONE: Final = "The plant's time zone was not given; times without one were taken as UTC."
#: No instrument and no analysis reads more than this, in any unit; what does is marked bad.
_MOST: Final = 1e15


@dataclass
class Gathered:
    """What the files of a mill hold.

    Attributes
    ----------
    taken : list of Taken
    looks : Looks
    units, words : dict of str to str
        By tag, as exports and lists of tags say.
    verdicts : dict of str to FileVerdict
        By path, of files that hold readings.
    sizes : dict of str to Size
    lists : list of FileVerdict
        Verdicts on lists of tags and of vessels.
    books : dict of str to str
        Name of the file or sheet that holds each series.
    homes : dict of str to str
        File of each series; one name for all files that hold one series each.
    by_hand, pooled : set of str
        Series out of books of the laboratory; those of several juices in one column.
    """

    taken: list[Taken]
    looks: Looks = field(default_factory=Looks)
    units: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    verdicts: dict[str, FileVerdict] = field(default_factory=dict)
    sizes: dict[str, Size] = field(default_factory=dict)
    books: dict[str, str] = field(default_factory=dict)
    homes: dict[str, str] = field(default_factory=dict)
    by_hand: set[str] = field(default_factory=set)
    pooled: set[str] = field(default_factory=set)


def describe_exports(
    files: Sequence[Path],
    name: str,
    zone: str | None,
    progress: Progress = silent,
    *,
    given: Mapping[str, object] | None = None,
    choose: Chooser | None = None,
    measure: Measure | None = None,
    money: Money = _NO_PRICE,
) -> Draft:
    """Draft a description from exports.

    Parameters
    ----------
    files : sequence of Path
        Exports of the station's tags and of the laboratory, lists of tags, tables of vessels; or
        folders of them.
    name : str
        What the mill is called.
    zone : str or None
        IANA time zone of the plant; None takes UTC and says so.
    progress : Progress, optional
    given : mapping of str to object, optional
        Keys of layouts that hold for all files.
    choose : callable, optional
        Asks a person; without one the likeliest answers are taken and marked.
    measure : callable, optional
        Asks a person for the volume of a vessel [m3]; None from it keeps the guess.
    money : Money, optional
        Worth of sucrose, where a person gave it.

    Raises
    ------
    ConfigError
        The zone is not known.
    DataError
        None of the files holds readings.
    """
    for fault in zone_faults(zone or "UTC", "--zone"):
        raise ConfigError(
            said("{key}: {problem}.", key=fault.key, problem=fault.problem),
            said("command line"),
            fault.cure,
        )
    answers = Answers(zone or "UTC", choose)
    found = Gathered(take_all(files_in(files), given or {}, answers, progress))
    _read(found, answers, progress)
    _read_lists(found)
    tags = found.looks.tags(found.units, found.words)
    _require_some(files, found, tags)
    draft = _drafted(found, tags, name, zone, money)
    if measure is None:
        return draft
    told = {v.name: m3 for v in draft.vessels if v.guessed and (m3 := measure(v)) is not None}
    found.sizes |= {vessel: Size(m3, called=vessel) for vessel, m3 in told.items()}
    return _drafted(found, tags, name, zone, money) if told else draft


def _drafted(
    found: Gathered, tags: Sequence[TagLook], name: str, zone: str | None, money: Money
) -> Draft:
    # Two juices under one name are no instrument, however often they come.
    made = lab_series(tags, found.by_hand, found.homes) | found.pooled
    guesses = guess_tags([tag for tag in tags if tag.name not in made])
    lab = guess_lab([tag for tag in tags if tag.name in made], found.pooled, found.books)
    vessels = drafted_train(guesses, lab, found.sizes)
    layouts, layout_of = layout_sections(found.taken)
    verdicts = [_verdict(found, taken, layout_of) for taken in found.taken]
    questions = _questions(found, zone)
    missing = missing_points(guesses, lab)
    parts = [
        mill_lines(name, zone, money),
        file_lines(verdicts),
        question_lines(questions),
        time_lines(tags, zone),
        layouts,
        target_lines(guesses),
        train_lines(vessels, guesses),
        [remark(f"# Missing: {m.what}. {m.costs}.") for m in missing],
        tag_lines(guesses),
        lab_lines(lab),
        kept_lines(guesses, lab, found.pooled),
    ]
    text = "\n".join(line for part in parts if part for line in [*part, ""])
    return Draft(
        text=text.rstrip("\n") + "\n",
        guesses=tuple(guesses),
        lab=tuple(lab),
        files=tuple(verdicts),
        questions=tuple(questions),
        vessels=tuple(vessels),
        missing=tuple(missing),
        name=name,
        zone=zone or "UTC",
    )


def _read(found: Gathered, answers: Answers, progress: Progress) -> None:
    """Readings of all files, added up."""
    for read in read_all(found.taken, answers, found.units, progress):
        taken = read.taken
        seen: set[str] = set()
        for part in read.parts:
            found.looks.add(part.with_columns(bad=pl.col("bad") | (pl.col("value").abs() > _MOST)))
            seen |= set(part["tag"].unique().to_list())
        found.looks.merge()
        found.words |= {tag: text for tag, text in taken.words.items() if text}
        alone = any(p.one for p in taken.proposals)
        found.homes |= dict.fromkeys(seen, "" if alone else taken.path.name)
        found.books |= {tag: f"{taken.path.stem} {taken.sheet_of(tag)}" for tag in seen}
        found.by_hand |= {t for t in seen if any(p.by_hand for p in taken.proposals)}
        found.pooled |= {s for p in taken.proposals for s in p.pooled}
        found.verdicts[str(taken.path)] = verdict_of(read, len(seen))


def _read_lists(found: Gathered) -> None:
    """Lists of tags and tables of vessels among the files."""
    tags = {name for taken in found.taken for name in taken.names}
    for taken in found.taken:
        for table in taken.lists:
            words = _taken_list(found, table, tags)
            if words:
                found.verdicts[str(taken.path)] = FileVerdict(taken.path.name, *words)


def _taken_list(found: Gathered, table: Table, tags: set[str]) -> tuple[Verdict, str] | None:
    sizes = read_sizes(table)
    if sizes is not None:
        found.sizes |= sizes.of
        told = ", ".join(f"{s.called} {s.volume_m3:g} m³" for s in sizes.of.values())
        left = f"; left out, no vessel of the station: {', '.join(sizes.others)}"
        left = left if sizes.others else ""
        return "read", f"a table of vessels: {shown(told + left, 300)}"
    listed = read_tag_list(table, tags)
    return None if listed is None else _use_list(found, listed)


def _use_list(found: Gathered, listed: TagList) -> tuple[Verdict, str]:
    if not listed.fits:
        return "asked", (
            f"a list of {listed.total} tags of which only {listed.met} are in these exports: left "
            "aside. Is it the list of this station?"
        )
    for tag, text in listed.words.items():
        found.words[tag] = f"{found.words.get(tag, '')} {text}".strip()
    for tag, unit in listed.units.items():
        if not found.units.get(tag):
            found.units[tag] = unit
    return "read", f"a list of {listed.total} tags, of which {listed.met} are in these exports"


def _verdict(found: Gathered, taken: Taken, layouts: Mapping[str, str]) -> FileVerdict:
    known = found.verdicts.get(str(taken.path))
    if known is not None and taken.error is None:
        return FileVerdict(
            known.name, known.verdict, known.words, known.tags, known.readings,
            layouts.get(taken.path.name, ""),
        )  # fmt: skip
    if taken.error is not None:
        return FileVerdict(taken.path.name, "not read", shown(taken.error.what, 300).rstrip("."))
    return FileVerdict(taken.path.name, "not read", why_left(taken))


def _questions(found: Gathered, zone: str | None) -> list[Question]:
    questions = [q for taken in found.taken for q in taken.questions]
    if zone is None:
        answer = (("UTC", "times without a zone are UTC"),)
        questions.insert(0, Question("zone", "", _NO_ZONE, answer, "UTC"))
    return questions


def _require_some(files: Sequence[Path], found: Gathered, tags: Sequence[TagLook]) -> None:
    """Refuse a set of files without readings, or of a whole plant."""
    if 0 < len(tags) <= MOST_TAGS:
        return
    errors = [taken.error for taken in found.taken if taken.error is not None]
    if len(found.taken) == len(errors) == 1:
        raise errors[0]
    why = [f"- {t.path.name}: {_verdict(found, t, {}).words}" for t in found.taken[:20]]
    raise DataError(
        said(
            "These files hold {tags} series; a description is drafted for 1 to {most_tags}.",
            tags=len(tags),
            most_tags=MOST_TAGS,
        ),
        "\n".join([", ".join(str(path) for path in files[:5]), *why]),
        said("Name exports of the clarification station and its laboratory, or their folder."),
    )
