"""What one look at a mill's store, and at what is around it, may show."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.mill import Mill

State = Literal["fine", "look", "wrong"]
WORDS: Final[dict[State, str]] = {"fine": "fine ", "look": "look ", "wrong": "WRONG"}


@dataclass(frozen=True, slots=True)
class Sign:
    """What one look showed.

    Attributes
    ----------
    about : str
        What was looked at.
    state : {"fine", "look", "wrong"}
    what : str
        What was seen, in one sentence.
    cure : str
        What to do; empty when fine.
    """

    about: str
    state: State
    what: str
    cure: str = ""


#: One look; gives one sign or more.
Look = Callable[[Mill], Iterable[Sign]]
