"""Seeded forward simulator of a clarification station, independent of ``features``."""

from models.simulator.events import plan_events
from models.simulator.habits import Habits, draw_habits
from models.simulator.hard_mill import HardMill, draw_hard_mill
from models.simulator.manners import Manners, draw_manners
from models.simulator.parameters import (
    PlantParameters,
    draw_any_plant,
    draw_plant,
    with_manners,
)
from models.simulator.season import SEASON_START_UTC, Season, simulate_season
from models.simulator.tags import FILTRATE, TAGS, sampled
