"""A mill as unkind as they come: its station, its manners and its habits."""

from __future__ import annotations

from dataclasses import dataclass

from models.simulator.habits import Habits, draw_habits
from models.simulator.manners import draw_manners
from models.simulator.parameters import PlantParameters, draw_any_plant, with_manners


@dataclass(frozen=True, slots=True)
class HardMill:
    """Hidden truth of one mill.

    Attributes
    ----------
    plant : PlantParameters
        Its station, with its manners.
    habits : Habits
        What its people and instruments are used to.
    """

    plant: PlantParameters
    habits: Habits

    def present(self) -> tuple[str, ...]:
        """Words for all manners and habits that this mill has."""
        manners = self.plant.manners
        return (*(manners.as_words() if manners else ()), *self.habits.present())


def draw_hard_mill(seed: int) -> HardMill:
    """Draw a mill from as wide a range as mills differ, with manners and habits of its own.

    Parameters
    ----------
    seed : int
        Non-negative seed.
    """
    return HardMill(with_manners(draw_any_plant(seed), draw_manners(seed)), draw_habits(seed))
