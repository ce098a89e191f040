"""A mill as unkind as they come: its station, its manners and its habits."""

from __future__ import annotations

from dataclasses import dataclass

from models.simulator.habits import Habits, draw_habits
from models.simulator.parameters import PlantParameters, draw_any_plant


@dataclass(frozen=True, slots=True)
class HardMill:
    """Hidden truth of one mill.

    Attributes
    ----------
    plant : PlantParameters
        Its station.
    habits : Habits
        What its people and instruments are used to.
    """

    plant: PlantParameters
    habits: Habits


def draw_hard_mill(seed: int) -> HardMill:
    """Draw a mill from as wide a range as mills differ, with manners and habits of its own.

    Parameters
    ----------
    seed : int
        Non-negative seed.
    """
    return HardMill(draw_any_plant(seed), draw_habits(seed))
