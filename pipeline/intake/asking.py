"""Who answers what exports leave open: a person at a terminal, else the likeliest is taken."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from pipeline.base import Answer, DataError
from pipeline.files import shown
from pipeline.intake.question import Question
from pipeline.intake.taken import told

#: Given a question, the number of the answer that was chosen, from 0.
Chooser = Callable[[Question], int]
#: Places in whose zones dates are written with the month first (common practice).
_MONTH_FIRST: Final = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles",
    "America/Phoenix", "America/Detroit", "US/", "Pacific/Honolulu", "America/Indiana",
)  # fmt: skip


@dataclass
class Answers:
    """Answers to what files leave open.

    Attributes
    ----------
    zone : str
        Zone of the plant.
    choose : callable or None
        Asks a person; None takes the likeliest and leaves it to be confirmed.
    seen : list of str
        How dates of files were written that left nothing open.
    """

    zone: str
    choose: Chooser | None = None
    seen: list[str] = field(default_factory=list)
    _before: dict[str, str] = field(default_factory=dict)

    def settle(self, path: Path, error: DataError) -> tuple[Question, Answer]:
        """Question of a file, and the answer taken."""
        answers = self._ordered(error.answers)
        key = " ".join(answers[0].keys)
        question = Question(
            key=key,
            file=path.name,
            words=error.what,
            answers=tuple((told(a.keys), a.words) for a in answers),
            answer=told(answers[0].keys),
        )
        if self.choose is None:
            return question, answers[0]
        again = f"{key} {sorted(question.answers)}"
        if again not in self._before:
            self._before[again] = told(answers[self.choose(question)].keys)
        taken = next(a for a in answers if told(a.keys) == self._before[again])
        return replace(question, answer=told(taken.keys), given=True), taken

    def _ordered(self, answers: tuple[Answer, ...]) -> list[Answer]:
        """Answers, the likeliest first: as other files are written, as the place writes."""
        return sorted(answers, key=lambda a: not self._fits(a.keys))

    def _fits(self, keys: Mapping[str, object]) -> bool:
        written = keys.get("time_format")
        if not isinstance(written, str):
            return False
        first = written[:2]
        others = [way[:2] for way in self.seen if way[:2] in ("%d", "%m")]
        if others:
            return first == max(set(others), key=others.count)
        month = self.zone.startswith(_MONTH_FIRST)
        return first == ("%m" if month else "%d")


def by_number(question: Question) -> str:
    """The question as it is put at a terminal."""
    lines = [f"{shown(question.file, 60)}: {question.words}"]
    for number, (typed, words) in enumerate(question.answers, start=1):
        lines.append(f"  {number}  {words}   ({typed})")
    return "\n".join(lines)
