"""What one look at a mill's store, and at what is around it, may show."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.mill import Mill
from pipeline.store import Store
from pipeline.words import figure, said

#: How long the database is waited for here [s].
PATIENCE_S: Final = 2.0
State = Literal["fine", "look", "wrong"]
#: As wide as each other in English, so that what is looked at begins below what was before it.
WORDS: Final[dict[State, str]] = {
    "fine": said("fine "),
    "look": said("look "),
    "wrong": said("WRONG"),
}


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


def database_of(mill: Mill) -> Store:
    """Findings store of a mill; a look does not wait long for it."""
    return Store(mill.database_path, mill.key, patience_s=PATIENCE_S)


def ago(seconds: float) -> str:
    """How long ago something was."""
    if seconds < 5400.0:
        return said("{minutes} min ago", minutes=figure(seconds / 60.0, ".0f"))
    if seconds < 172800.0:
        return said("{hours} h ago", hours=figure(seconds / 3600.0, ".0f"))
    return said("{days} d ago", days=figure(seconds / 86400.0, ".0f"))
