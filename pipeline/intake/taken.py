"""One export on its way into a draft: how it is read, what was asked, what became of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Protocol

import polars as pl
from pydantic import ValidationError

from pipeline.base import Answer, DataError
from pipeline.files import batches, export_tables, shown
from pipeline.intake.columns import texts
from pipeline.intake.propose import Proposal, propose
from pipeline.intake.question import Question
from pipeline.intake.sheets import juice_sheets
from pipeline.mill import ExportLayout
from pipeline.words import said

#: Questions that one file may ask before it is left.
_MOST_QUESTIONS: Final = 12
#: Keys of a layout that hold lists.
_LISTS: Final = frozenset(
    {"good_words", "bad_words", "uncertain_words", "sheets", "tag_columns", "ignore_columns",
     "harmless_marks", "no_result_words", "quality_columns"}
)  # fmt: skip

#: Keys of a layout that name columns.
_COLUMNS: Final = frozenset(
    {"time_column", "date_column", "half_column", "zone_column", "tag_column", "tag_columns",
     "value_column", "unit_column", "quality_column"}
)  # fmt: skip
_FROM_NAMES: Final = re.compile(r"\{(?:sheet|file)\}")


class Asked(Protocol):
    """Who settles what an export leaves open."""

    def settle(self, path: Path, error: DataError) -> tuple[Question, Answer]:
        """Answer to a question that carries its answers."""


@dataclass
class Table:
    """A table without moments: perhaps a list of tags, or of vessels."""

    name: str
    rows: pl.DataFrame


@dataclass
class Taken:
    """What is known of one file.

    Attributes
    ----------
    path : Path
    given : dict of str to object
        Keys of its layout that a person gave, or that answered its questions.
    proposals : list of Proposal
    lists : list of Table
    questions : list of Question
    names : set of str
        Series that it holds.
    error : DataError or None
        Why it cannot be read.
    absent : dict of str to object
        Keys that were given, and name columns that none of its tables has: not used.
    """

    path: Path
    given: dict[str, object] = field(default_factory=dict)
    proposals: list[Proposal] = field(default_factory=list)
    lists: list[Table] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    error: DataError | None = None
    absent: dict[str, object] = field(default_factory=dict)

    @property
    def keys(self) -> dict[str, object]:
        """Keys of its layout: those on which all its tables agree, and the answers."""
        found: dict[str, object] = {}
        for key in dict.fromkeys(k for p in self.proposals for k in p.keys):
            values = [p.keys.get(key) for p in self.proposals]
            if all(value == values[0] for value in values):
                found[key] = values[0]
        return found | self.given

    @property
    def words(self) -> Mapping[str, str]:
        """What its tables say of its series."""
        return {name: text for p in self.proposals for name, text in p.words.items()}

    def sheet_of(self, series: str) -> str:
        """Sheet or entry that holds a series, where its headings name it."""
        return next((p.called[0] for p in self.proposals if series in p.series), "")

    def layout(self, name: str = "drafted", match: str | None = None) -> ExportLayout:
        """The layout by which it is read."""
        pattern = match if match is not None else self.path.name
        return ExportLayout.model_validate({"name": name, "match": pattern, **self.keys})


def take(path: Path, given: Mapping[str, object], asked: Asked) -> Taken:
    """How a file is best read, as far as its tables show; it never fails.

    Parameters
    ----------
    path : Path
    given : mapping of str to object
        Keys of layouts that a person gave for all files.
    asked : Asked
    """
    taken = Taken(path, dict(given))
    settled(taken, asked, lambda: _propose(taken))
    _ask_repeats(taken, asked)
    return taken


def _ask_repeats(taken: Taken, asked: Asked) -> None:
    """What becomes of two values of one sample; those of several juices are left open."""
    repeats = [name for p in taken.proposals for name in p.repeats]
    pooled = any(p.pooled for p in taken.proposals)
    if taken.error is not None or not repeats or pooled or "repeats" in taken.given:
        return
    few = ", ".join(f'"{shown(name, 40)}"' for name in repeats[:3])
    question = DataError(
        said(
            "Some samples have two results that lie close together ({few}): analysed twice, it "
            "seems.",
            few=few,
        ),
        str(taken.path),
        said("Say which counts."),
        [
            Answer({"repeats": "best"}, said("the one with more digits counts, then the larger")),
            Answer(
                {"repeats": "ask"}, said("the file is refused until its book holds one of them")
            ),
        ],
    )
    told_by, answer = asked.settle(taken.path, question)
    taken.questions.append(told_by)
    taken.given |= dict(answer.keys)


def settled(taken: Taken, asked: Asked, work: Callable[[], None]) -> bool:
    """Do something with a file, its questions answered as they come; False where it fails."""
    for _ in range(_MOST_QUESTIONS):
        try:
            work()
        except ValidationError as fault:
            taken.error = _contradictory(taken, fault)
            return False
        except DataError as error:
            answers = [a for a in error.answers if not _said(taken, a)]
            if not answers:
                taken.error = error
                return False
            open_question = DataError(error.what, error.where, error.next_step, answers)
            question, answer = asked.settle(taken.path, open_question)
            taken.questions.append(question)
            taken.given |= dict(answer.keys)
        else:
            taken.error = None
            return True
    return False


def _contradictory(taken: Taken, fault: ValidationError) -> DataError:
    """Error for answers that no layout can hold together."""
    first = fault.errors()[0]
    # Words of ours, which can be said in another tongue, or else the library's.
    own = getattr(first.get("ctx", {}).get("error"), "args", ())
    why = own[0] if own else first["msg"]
    cure = said("Give fewer answers, or others.")
    return DataError(said("The answers do not go together: {why}.", why=why), str(taken.path), cure)


def _said(taken: Taken, answer: Answer) -> bool:
    """Whether this answer was given already and did not help."""
    return all(taken.given.get(key) == value for key, value in answer.keys.items())


def _propose(taken: Taken) -> None:
    """Look at the first rows of every table of a file."""
    taken.proposals, taken.lists, names = [], [], set[str]()
    used: set[str] = set()
    layout = _readable(taken.given)
    with export_tables(taken.path, layout) as tables:
        for table in tables:
            parts = batches(table)
            first = next(parts, None)
            if first is None or first.is_empty():
                continue
            here = {k: v for k, v in taken.given.items() if _stands(k, v, first.columns)}
            found = propose(table, first, here)
            if found is None:
                taken.lists.append(Table(table.called[0], first))
                continue
            used |= set(here)
            taken.proposals.append(found)
            if found.keys.get("shape") == "long":
                names |= _names_in_rows(found, first, parts)
    if taken.proposals:
        taken.absent |= {k: v for k, v in taken.given.items() if k not in used}
        taken.given = {k: v for k, v in taken.given.items() if k in used}
    _by_sheet(taken)
    names |= {series for p in taken.proposals for series in p.series}
    taken.names = {name for name in names if name.strip()}


def _stands(key: str, value: object, columns: Sequence[str]) -> bool:
    """Whether the columns that a key names stand in a table; so does a key that names none.

    What was typed holds for all files; those of another kind are read by what stands in them.
    """
    if key not in _COLUMNS or not value:
        return True
    named = value if isinstance(value, list | tuple) else [value]
    return all(str(n).strip() in columns or _FROM_NAMES.fullmatch(str(n)) for n in named)


def _names_in_rows(found: Proposal, first: pl.DataFrame, rest: Iterable[pl.DataFrame]) -> set[str]:
    """Names of series in the rows of a long table."""
    columns = found.keys.get("tag_columns") or [found.keys["tag_column"]]
    names: set[str] = set()
    for rows in (first, *rest):
        cells = [texts(rows[str(c)]) for c in columns]  # type: ignore[attr-defined]
        joined = pl.select(pl.concat_str(cells, separator=" ").alias("name"))["name"]
        names |= set(joined.unique().to_list())
    return names


def _by_sheet(taken: Taken) -> None:
    """Sheets of one form that differ by their name alone: a series a sheet, or a juice a sheet."""
    if names := juice_sheets(taken.proposals):
        taken.given = {**taken.given, "tag_columns": ["{sheet}"], "shape": "wide"}
        taken.proposals = names


def _readable(given: Mapping[str, object]) -> ExportLayout | None:
    """Keys that matter before a table is found: encoding, marks, sheets, line of headings."""
    early = {"encoding", "delimiter", "decimal", "thousands", "sheets", "heading_row"}
    keys = {key: value for key, value in given.items() if key in early}
    return ExportLayout.model_validate({"name": "looked at", **keys}) if keys else None


def parsed(key: str, text: str) -> object:
    """A value as typed on the command line, as a layout holds it."""
    if key in _LISTS:
        return [part.strip() for part in text.split(",")]
    return int(text) if key == "heading_row" and text.isdigit() else text


def told(keys: Mapping[str, object]) -> str:
    """Keys of a layout as they are written in a description."""
    return ", ".join(f"{key} = {_value(value)}" for key, value in keys.items())


def _value(value: object) -> str:
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return f'"{shown(str(value), 60)}"'
