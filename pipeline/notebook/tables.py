"""What the frames of a notebook hold: unit and meaning of every column."""

from __future__ import annotations

from functools import cache
from typing import Final

import polars as pl

from features.base import LAB_COLUMNS, STATION_COLUMNS, ZONE_COLUMNS, Column, Columns
from models.account import DRIVEN_COLUMNS
from models.find import LOSS_COLUMNS
from pipeline.lake import DRIVEN, LOSSES, READINGS_COLUMNS, STATION, ZONES
from pipeline.store import chapters

TIME: Final = "time"
_TIME: Final = Column.moment("Moment, or start of the minute, in plant time.")
_UNIT: Final = Column.text("Unit of the value.")
_WHAT: Final = Column.text("What is measured and where, in words.")


def _in_plant_time(*frames: Columns) -> Columns:
    """Columns of frames side by side, the moment first and once."""
    joined: dict[str, Column] = {TIME: _TIME}
    for columns in frames:
        joined |= {name: column for name, column in columns.items() if name != "ts_utc"}
    return joined


#: Columns of what lies in the lake, by its kind.
OF_KIND: Final[dict[str, Columns]] = {
    STATION: STATION_COLUMNS,
    LOSSES: LOSS_COLUMNS,
    ZONES: ZONE_COLUMNS,
    DRIVEN: DRIVEN_COLUMNS,
}
#: Frames by the method that gives them.
TABLES: Final[dict[str, Columns]] = {
    "minutes": _in_plant_time(STATION_COLUMNS, LOSS_COLUMNS),
    "vessels": _in_plant_time(ZONE_COLUMNS, DRIVEN_COLUMNS),
    "readings": _in_plant_time({**READINGS_COLUMNS, "unit": _UNIT, "what": _WHAT}),
    "laboratory": _in_plant_time({**LAB_COLUMNS, "unit": _UNIT, "what": _WHAT}),
    "tags": {
        "tag": Column.text("Name of the tag in the exports."),
        "what": _WHAT,
        "unit": Column.text("Unit kept inside the tool."),
        "quantity": Column.text("Quantity, or analyte of the laboratory."),
        "place": Column.text("Vessel or stream."),
        "port": Column.text("Side of it."),
        "low": Column.number("unit of the tag", "Readings below are bad."),
        "high": Column.number("unit of the tag", "Readings above are bad."),
        "column": Column.text("Its column among one-minute grids; empty for the laboratory."),
    },
}


@cache
def described() -> pl.DataFrame:
    """Every column of every frame: table, column, unit, description."""
    rows = [
        {"table": table, "column": name, "unit": column.unit, "description": column.description}
        for table, columns in TABLES.items()
        for name, column in columns.items()
    ]
    (findings,) = [chapter for chapter in chapters() if chapter.title == "Table findings"]
    rows += [
        {"table": "findings", "column": e.name, "unit": e.unit, "description": e.meaning}
        for e in findings.entries
    ]
    moments = {"time", "started", "ended", "first_seen", "last_seen"}
    return pl.DataFrame(rows).with_columns(
        unit=pl.when(pl.col("column").is_in(moments)).then(pl.lit("plant time")).otherwise("unit")
    )
