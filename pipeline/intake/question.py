"""What became of a file, and what the exports leave open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
