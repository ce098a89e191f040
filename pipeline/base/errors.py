"""Errors a user can act on: what happened, where, and what to do next.

Each kind has its own exit code, so that a scheduler can tell a wrong description from a busy
store without reading the text.

===========  ====  =====================================================================
Kind         Exit  Meaning
===========  ====  =====================================================================
(success)    0     The command did what it was asked.
Unexpected   1     A fault in lostpol itself.
ConfigError  2     The mill's description or the command line is wrong.
DataError    3     Exports unreadable, tags missing, or too much of the data refused.
StoreBusy    4     Another program holds the findings store.
Delivery     5     The report was written but could not be sent.
DiskError    6     The disk is full, or takes no writing.
Unwell       7     ``lostpol health`` found something that stops or falsifies runs.
LakeError    8     The lake (share or object store) cannot be reached, or refuses.
===========  ====  =====================================================================
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Answer:
    """One way to settle what an export leaves open.

    Attributes
    ----------
    keys : mapping of str to object
        Keys of the layout that say so, with their values.
    words : str
        What this would mean, for a person.
    """

    keys: Mapping[str, object]
    words: str


class LostpolError(Exception):
    """Something the reader can put right.

    Parameters
    ----------
    what : str
        What happened, in one plain sentence.
    where : str
        File, key, tag or day concerned. May hold several lines, one for each fault.
    next_step : str
        What to do now.
    answers : sequence of Answer
        Where the error is a question: what may be answered, the likeliest first.
    """

    exit_code: ClassVar[int] = 1

    def __init__(
        self, what: str, where: str, next_step: str, answers: Sequence[Answer] = ()
    ) -> None:
        super().__init__(what, where, next_step)
        self.answers = tuple(answers)
        self.what = what
        self.where = where
        self.next_step = next_step

    def __str__(self) -> str:
        """Three parts, one after the other, each introduced by what it is."""
        where = self.where.replace("\n", "\n       ")
        return f"What:  {self.what}\nWhere: {where}\nNext:  {self.next_step}"


class ConfigError(LostpolError):
    """The mill's description, or what was typed on the command line, is wrong."""

    exit_code: ClassVar[int] = 2


class DataError(LostpolError):
    """An export cannot be read, a tag is missing, or too much of the data was refused."""

    exit_code: ClassVar[int] = 3


class StoreBusyError(LostpolError):
    """Another program holds the findings store."""

    exit_code: ClassVar[int] = 4


class DeliveryError(LostpolError):
    """The report exists but could not be sent."""

    exit_code: ClassVar[int] = 5


class DiskError(LostpolError):
    """The disk is full, or takes no writing."""

    exit_code: ClassVar[int] = 6


class UnwellError(LostpolError):
    """A look at store, schedule and surroundings found something that stops or falsifies runs."""

    exit_code: ClassVar[int] = 7


class LakeError(LostpolError):
    """The share or object store that holds the lake cannot be reached, or refuses."""

    exit_code: ClassVar[int] = 8
