"""The data dictionary: every column lostpol writes, from the schemas themselves.

Tables and views speak for themselves: their comments are in the database's own schema. A frame is
described by the room that makes it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import polars as pl

from features.base import (
    MINUTE,
    QUANTITY_COLUMNS,
    STATION_COLUMNS,
    ZONE_COLUMNS,
    Column,
    Columns,
)
from features.signal import QUALITY_COLUMNS, SECOND_DAY_COLUMNS, SENSOR_DAY_COLUMNS
from models.account import DRIVEN_COLUMNS, SUM_COLUMNS
from models.cause import DAILY_COLUMNS, NOTICE_COLUMNS
from models.detect import SHARPNESS_COLUMNS, UNCALIBRATED_COLUMNS
from models.find import FINDING_COLUMNS, LOSS_COLUMNS
from models.level import COURSE_COLUMNS, METHOD_COLUMNS
from models.replay import PIECE_COLUMNS
from pipeline.base import ConfigError
from pipeline.lake import (
    DAILY,
    DRIVEN,
    FOUND,
    GRID,
    HEALTH,
    LEVEL,
    LEVERS,
    LOSSES,
    METHODS,
    NOTICES,
    READINGS_COLUMNS,
    REFUSED_COLUMNS,
    SEARCHED,
    SEARCHED_COLUMNS,
    SENSOR_DAYS,
    SENSORS,
    SHARPNESS,
    STATION,
    SUMS,
    UNCALIBRATED,
    ZONES,
)
from pipeline.store.export import EXPORT_COLUMNS
from pipeline.store.tables import empty_store, table_schema
from pipeline.words import said

_UNIT_WORDS: Final = {
    "m3_h": "m3/h",
    "degc": "degC",
    "pct": "%",
    "ntu": "NTU",
    "ms_cm": "mS/cm",
    "kpa": "kPa",
    "t_h": "t/h",
    "l_h": "L/h",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One column in the dictionary."""

    name: str
    kind: str
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Chapter:
    """One table, view or kind of file."""

    title: str
    about: str
    entries: tuple[Entry, ...]


#: What lies in the lake: folder to what a row is, and its columns.
LAKE: Final[dict[str, tuple[str, Columns]]] = {
    "readings": (
        "Readings as exported, in inside units, by UTC day; unique by tag and moment",
        READINGS_COLUMNS,
    ),
    "refused": ("Rows of one export that were refused", REFUSED_COLUMNS),
    f"features/{GRID}": (
        "One minute of all signals; a column for each signal of the description, named by "
        "quantity, place, side and unit",
        {
            "ts_utc": MINUTE,
            "purity_mixed_juice_pct": Column.number("%", "Purity by the laboratory, or target."),
            "brix_mixed_juice_lab_pct": Column.number("%", "Brix by the laboratory."),
        },
    ),
    f"features/{HEALTH}": ("Readings of one tag and UTC day by reason", QUALITY_COLUMNS),
    f"features/{SENSORS}": (
        "What one tag did on one UTC day; beside... null where it has no second instrument",
        dict(SENSOR_DAY_COLUMNS) | dict(SECOND_DAY_COLUMNS),
    ),
    f"features/{STATION}": ("One minute of the station as a whole", STATION_COLUMNS),
    f"features/{ZONES}": ("One minute of one vessel", ZONE_COLUMNS),
    f"features/{LOSSES}": ("One minute of the search's result, for drawing", LOSS_COLUMNS),
    f"features/{DRIVEN}": (
        "One minute of one vessel: what it lost and what drove it, as the search found",
        DRIVEN_COLUMNS,
    ),
    f"features/{NOTICES}": ("Something odd that lost nothing", NOTICE_COLUMNS),
    f"features/{DAILY}": (
        "One plant-local day between limed and clear juice, by kinetics and by the laboratory",
        DAILY_COLUMNS,
    ),
    f"features/{SUMS}": (
        "One plant-local day of a search, as far as it lies in it; filed by the search's first day",
        {"day_local": Column(pl.Date(), "plant-local time", "Day.")} | dict(SUM_COLUMNS),
    ),
    f"features/{LEVEL}": (
        "The level of the kinetics by all laboratory results, a row a week; filed by the search's "
        "first day",
        COURSE_COLUMNS,
    ),
    f"features/{METHODS}": (
        "What one method is off by at one sampling point; filed by the search's first day",
        METHOD_COLUMNS,
    ),
    f"features/{UNCALIBRATED}": (
        "One series of the search in which chance could not be learnt",
        UNCALIBRATED_COLUMNS,
    ),
    f"features/{SHARPNESS}": (
        "One derived feature of a search beside its raw signal; filed by the search's first day",
        SHARPNESS_COLUMNS,
    ),
    f"features/{FOUND}": (
        "One loss that a search found; filed by the search's first day",
        FINDING_COLUMNS,
    ),
    f"features/{LEVERS}": (
        "What one step of the levers leaves of a vessel's loss in a week of the season; filed by "
        "the first day of the week",
        PIECE_COLUMNS,
    ),
    f"features/{SEARCHED}": (
        "How a search was made; filed by its first day",
        SEARCHED_COLUMNS,
    ),
}


def chapters() -> list[Chapter]:
    """Every table, view, export and lake file with its columns."""
    lake = [
        Chapter(f"Lake: {folder}", about, _described(columns))
        for folder, (about, columns) in LAKE.items()
    ]
    export = Chapter(
        "Export of findings",
        "One finding; CSV, XLSX and Parquet alike (lostpol findings MILL --out FILE)",
        _described(EXPORT_COLUMNS),
    )
    tables = _of_database()
    return [*tables, export, *lake, _sensor_days(tables), _signals()]


def _sensor_days(tables: Iterable[Chapter]) -> Chapter:
    """What a search says of the sensors, before it goes into the store: the columns of a table."""
    (table,) = [chapter for chapter in tables if chapter.title == "Table sensor_health"]
    types = table_schema("sensor_health")
    about = "One tag and UTC day as a search saw it; filed by the search's first day"
    entries = tuple(replace(entry, kind=str(types[entry.name])) for entry in table.entries)
    return Chapter(f"Lake: features/{SENSOR_DAYS}", about, entries)


def _described(columns: Columns) -> tuple[Entry, ...]:
    return tuple(Entry(n, str(c.dtype), c.unit, c.description) for n, c in columns.items())


def _signals() -> Chapter:
    """How the columns of the grid are named: they follow from the description of the mill."""
    entries = tuple(
        Entry(
            "_".join(part for part in (prefix, "PLACE", "SIDE", unit) if part),
            "Float64",
            _UNIT_WORDS.get(unit, "pH" if quantity == "ph" else "as described"),
            f"{quantity.replace('_', ' ').capitalize()}; SIDE is left out where there is none; "
            "a second instrument has second after it.",
        )
        for quantity, (prefix, unit) in QUANTITY_COLUMNS.items()
    )
    return Chapter("Names of signals in the grid", "A column for each signal described", entries)


def _of_database() -> list[Chapter]:
    """Tables and views of an empty store, as the database itself describes them."""
    with empty_store() as connection:
        about = connection.sql(
            "SELECT table_name, comment, 'Table' FROM duckdb_tables() WHERE NOT internal "
            "UNION ALL "
            "SELECT view_name, comment, 'View' FROM duckdb_views() WHERE NOT internal ORDER BY 3, 1"
        ).fetchall()
        columns = connection.sql(
            "SELECT table_name, column_name, data_type, comment FROM duckdb_columns() "
            "WHERE NOT internal ORDER BY table_name, column_index"
        ).fetchall()
    return [
        Chapter(
            f"{kind} {name}",
            comment or "",
            tuple(
                Entry(c, t, *_split(words or "")) for owner, c, t, words in columns if owner == name
            ),
        )
        for name, comment, kind in about
    ]


def _split(comment: str) -> tuple[str, str]:
    """Take the unit, written in square brackets, out of a comment."""
    before, bracket, rest = comment.partition(" [")
    unit, closing, after = rest.partition("]")
    return (unit, before + after) if bracket and closing else ("-", comment)


def dictionary_text() -> str:
    """The dictionary as Markdown."""
    lines = [
        "# Data dictionary",
        "",
        "Made by `lostpol dictionary` from the schemas. Times in columns of type TIMESTAMP WITH "
        "TIME ZONE are UTC. Missing is null. Untrusted text came from an export or a person.",
    ]
    for chapter in chapters():
        lines += ["", f"## {chapter.title}", "", f"{chapter.about}.", ""]
        lines += ["| column | type | unit | meaning |", "|---|---|---|---|"]
        lines += [_line((e.name, e.kind, e.unit, e.meaning)) for e in chapter.entries]
    return "\n".join([*lines, ""])


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def write_dictionary(out: Path) -> None:
    """Write the dictionary to a file.

    Raises
    ------
    ConfigError
        It cannot be written there.
    """
    try:
        out.write_text(dictionary_text(), encoding="utf-8")
    except OSError as error:
        cure = said("Name another file with --out.")
        raise ConfigError(
            said("Not written: {why}.", why=error.strerror), str(out), cure
        ) from error
