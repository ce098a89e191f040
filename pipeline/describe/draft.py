"""What a draft is made of: verdicts on files, questions, tags and lab series with their places."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.describe.lab import LabGuess
from pipeline.intake import FileVerdict, Question
from pipeline.places import Guess


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
    mud_volume_m3 : float
        Settler only: its mud zone [m3], always guessed; 0 for others.
    area_guessed : bool
        The settling area comes from the juice flow, not from the mill.
    matters_pct : float
        How far the tonnes of the station go wrong with 10 % of the volume [%].
    """

    name: str
    kind: str
    volume_m3: float
    area_m2: float | None
    guessed: bool
    matters: str = ""
    matters_pct: float = 0.0
    area_guessed: bool = False
    mud_volume_m3: float = 0.0


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
