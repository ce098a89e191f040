"""Readings screened and put on a one-minute grid."""

from features.signal.grid import to_grid
from features.signal.health import Drift, judge_sensor, sensor_day
from features.signal.quality import quality_counts, screen
