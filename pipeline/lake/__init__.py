"""Readings and features as Parquet by UTC day, in a folder or an object store."""

from pipeline.lake.columns import GOOD, Columns, Names, replace_file, to_frame, write_frame
from pipeline.lake.coverage import data_bounds, lake_of, tag_health, worked_out
from pipeline.lake.days import DayParts, Part
from pipeline.lake.kinds import (
    DAILY,
    FOUND,
    GRID,
    HEALTH,
    LOSSES,
    NOTICES,
    SEARCHED,
    SENSOR_DAYS,
    SENSORS,
    SHARPNESS,
    STATION,
    SUMS,
    ZONES,
)
from pipeline.lake.lake import Lake
from pipeline.lake.merge import READINGS_SCHEMA, DayMerge, merge_readings
from pipeline.lake.rivals import TWO_VALUES, Rivals
from pipeline.lake.storage import Storage
