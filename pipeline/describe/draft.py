"""What a draft is made of: verdicts on files, questions, tags and lab series with their places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.describe.guess import Guess
from pipeline.describe.lab import LabGuess

Verdict = Literal["read", "asked", "not read"]


@dataclass(frozen=True, slots=True)
class FileVerdict:
    """What became of one file.

    Attributes
    ----------
    name : str
        File name (untrusted text).
    verdict : {"read", "asked", "not read"}
        Read as found; read by an answer that was taken for granted and is to be confirmed; left.
    words : str
        How it was read, or why not, for a person.
    tags, readings : int
        What it gave.
    layout : str
        Name of its drafted layout; empty where none is needed.
    """

    name: str
    verdict: Verdict
    words: str
    tags: int = 0
    readings: int = 0
    layout: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """Something that the exports leave open.

    Attributes
    ----------
    key : str
        What it settles: a key of a layout, such as ``time_zone``, or ``zone`` of the mill.
    file : str
        File it was asked of (untrusted text).
    words : str
        What is open, with the evidence.
    answers : tuple of (str, str)
        Possible answers as typed, each with what it would mean; the first is the default.
    answer : str
        The one taken.
    given : bool
        A person gave it; otherwise it is to be confirmed.
    """

    key: str
    file: str
    words: str
    answers: tuple[tuple[str, str], ...]
    answer: str
    given: bool = False


@dataclass(frozen=True, slots=True)
class DraftedVessel:
    """A vessel of the drafted train.

    Attributes
    ----------
    name, kind : str
    volume_m3 : float
        Volume of juice at full level [m3].
    area_m2 : float or None
        Settling area [m2].
    guessed : bool
        The volume comes from the juice flow and a usual residence, not from the mill.
    matters : str
        What a wrong volume would do to the tonnes; empty where it was given.
    """

    name: str
    kind: str
    volume_m3: float
    area_m2: float | None
    guessed: bool
    matters: str = ""


@dataclass(frozen=True, slots=True)
class Missing:
    """A measuring point or analysis that no export shows, and what its absence costs."""

    what: str
    costs: str


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted description and what it rests on."""

    text: str
    guesses: tuple[Guess, ...]
    lab: tuple[LabGuess, ...]
    files: tuple[FileVerdict, ...] = ()
    questions: tuple[Question, ...] = ()
    vessels: tuple[DraftedVessel, ...] = ()
    missing: tuple[Missing, ...] = ()
    name: str = ""
    zone: str = "UTC"

    @property
    def placed(self) -> int:
        """Tags and lab series that got a place."""
        return sum(g.point is not None for g in self.guesses) + sum(
            g.place is not None for g in self.lab
        )
