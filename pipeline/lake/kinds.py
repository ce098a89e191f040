"""Kinds of features in the lake; each is a folder of days."""

from __future__ import annotations

from typing import Final

GRID: Final = "grid"
STATION: Final = "station"
ZONES: Final = "zones"
LOSSES: Final = "losses"
NOTICES: Final = "notices"
DAILY: Final = "daily"
HEALTH: Final = "health"
SENSORS: Final = "sensors"
#: What the search of a part of the season found, filed under the first day of that part.
FOUND: Final = "found"
SEARCHED: Final = "searched"
SENSOR_DAYS: Final = "sensor_days"
SHARPNESS: Final = "sharpness"
SUMS: Final = "sums"
