"""What each tag of a mill measures and where: weighed by words, units, levels and neighbours."""

from pipeline.places.guess import Guess, Sure, guess_tags, inside_value
from pipeline.places.look import MOST_TAGS, Looks, TagLook
from pipeline.places.names import parts_of
from pipeline.places.own_units import (
    MUD_DENSITY_KG_M3,
    exported_change,
    has_unit,
    is_height,
    is_mass,
)
from pipeline.places.points import Point
