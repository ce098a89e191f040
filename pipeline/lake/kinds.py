"""Kinds of features in the lake; each is a folder of days."""

from __future__ import annotations

from typing import Final

from features.base import Column, Columns

GRID: Final = "grid"
STATION: Final = "station"
ZONES: Final = "zones"
LOSSES: Final = "losses"
#: The same by vessel and driver.
DRIVEN: Final = "driven"
NOTICES: Final = "notices"
DAILY: Final = "daily"
HEALTH: Final = "health"
SENSORS: Final = "sensors"
#: What the search of a part of the season found, filed under the first day of that part.
FOUND: Final = "found"
SEARCHED: Final = "searched"
SEARCHED_COLUMNS: Final[Columns] = {
    "owns_start": Column.moment("Start of what it tells the findings of."),
    "owns_end": Column.moment("End of that (excluded)."),
    "sees_start": Column.moment("Start of what it looked at."),
    "sees_end": Column.moment("End of that (excluded)."),
    "stamp": Column.text("Hash of description and versions."),
    "inputs": Column.text("Hash of the readings it looked at."),
    "cells": Column.number("1", "Hypotheses of what it owns."),
    "minutes": Column.count("Minutes of what it owns."),
    "multiplier": Column.number("1", "Factor on the published inversion rate."),
    "multiplier_low": Column.number("1", "Lower end of its 90 % interval."),
    "multiplier_high": Column.number("1", "Upper end of its 90 % interval."),
    "multiplier_pairs": Column.count("Laboratory samples behind it; 0: as described."),
}
SENSOR_DAYS: Final = "sensor_days"
SHARPNESS: Final = "sharpness"
SUMS: Final = "sums"
UNCALIBRATED: Final = "uncalibrated"
#: The level of the kinetics week by week, and what the laboratory's methods are off by.
LEVEL: Final = "level"
METHODS: Final = "methods"
