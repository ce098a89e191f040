"""The data dictionary: every column lostpol writes, from the schemas themselves.

Tables and views speak for themselves: their comments are in the database's own schema. Frames
that the pure rooms make are described there; what only the lake holds is described here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import duckdb
import polars as pl

from features.base import QUANTITY_COLUMNS, STATION_COLUMNS, TIME, ZONE_COLUMNS, Column
from pipeline.base import ConfigError
from pipeline.lake import (
    DAILY,
    GRID,
    HEALTH,
    LOSSES,
    NOTICES,
    SENSORS,
    SHARPNESS,
    STATION,
    SUMS,
    ZONES,
)
from pipeline.store.export import EXPORT_COLUMNS
from pipeline.store.schema import MIGRATIONS

_TEXT: Final = pl.String()
_NUMBER: Final = pl.Float64()
_COUNT: Final = pl.Int64()
_MINUTE: Final = Column(TIME, "UTC", "Start of the minute.", nullable=False)
_TAG: Final = Column(_TEXT, "-", "Name of the tag in the exports; untrusted text.")
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
LAKE: Final[dict[str, tuple[str, Mapping[str, Column]]]] = {
    "readings": (
        "Readings as exported, in inside units, by UTC day; unique by tag and moment",
        {
            "ts_utc": Column(TIME, "UTC", "Moment of the reading."),
            "tag": _TAG,
            "value": Column(_NUMBER, "inside unit of the tag", "Null when unreadable."),
            "bad": Column(pl.Boolean(), "-", "True when the reading must not be used."),
            "reason": Column(_TEXT, "-", "Why it is bad; null when good."),
        },
    ),
    "refused": (
        "Rows of one export that were refused",
        {
            "file": Column(_TEXT, "-", "Name of the export; untrusted text."),
            "row": Column(_COUNT, "-", "Row of the file from 1, headings not counted."),
            "reason": Column(_TEXT, "-", "Why it was refused."),
            "text": Column(_TEXT, "-", "The row, shortened; untrusted text."),
        },
    ),
    f"features/{GRID}": (
        "One minute of all signals; a column for each signal of the description, named by "
        "quantity, place, side and unit",
        {
            "ts_utc": _MINUTE,
            "purity_mixed_juice_pct": Column(_NUMBER, "%", "Purity by the laboratory, or target."),
        },
    ),
    f"features/{HEALTH}": (
        "Readings of one tag and UTC day by reason",
        {
            "day": Column(pl.Date(), "UTC", "Day."),
            "tag": _TAG,
            "reason": Column(_TEXT, "-", "good, or why the readings are bad."),
            "readings": Column(_COUNT, "-", "How many."),
        },
    ),
    f"features/{SENSORS}": (
        "What one tag did on one UTC day",
        {
            "tag": _TAG,
            "readings": Column(_COUNT, "-", "Readings of the day."),
            "good": Column(_COUNT, "-", "Of these, good ones."),
            "spikes": Column(_COUNT, "-", "Single readings far from their neighbours."),
            "out_of_range": Column(_COUNT, "-", "Readings that cannot be."),
            "frozen": Column(_COUNT, "-", "Readings of a value that did not move."),
            "calibration": Column(_COUNT, "-", "Readings of buffer while a pH probe was off line."),
            "other_bad": Column(_COUNT, "-", "Bad on arrival, or no number."),
            "frozen_min": Column(_NUMBER, "min", "Time a frozen value was all there was."),
            "gap_min": Column(_NUMBER, "min", "Time without a reading."),
            "longest_gap_min": Column(_NUMBER, "min", "Longest time without a reading."),
            "calibration_step": Column(
                _NUMBER, "unit of the tag", "Reading after calibration less before."
            ),
        },
    ),
    f"features/{STATION}": ("One minute of the station as a whole", STATION_COLUMNS),
    f"features/{ZONES}": ("One minute of one vessel", ZONE_COLUMNS),
    f"features/{LOSSES}": (
        "One minute of the search's result, for drawing",
        {
            "ts_utc": _MINUTE,
            "loss_kg_h": Column(_NUMBER, "kg/h", "Sucrose inverted, multiplier and pH put right."),
            "unavoidable_kg_h": Column(_NUMBER, "kg/h", "The same with every vessel at target."),
            "excess_kg_h": Column(_NUMBER, "kg/h", "Loss less the unavoidable."),
            "ph_limed_true": Column(_NUMBER, "pH", "Limed juice, the probe put right."),
            "ph_clear_true": Column(_NUMBER, "pH", "Clear juice, the probe put right."),
            "measured": Column(
                pl.Boolean(), "-", "False where something was not measured and stands at usual."
            ),
        },
    ),
    f"features/{NOTICES}": (
        "Something odd that lost nothing",
        {
            "started": Column(TIME, "UTC", "First minute."),
            "ended": Column(TIME, "UTC", "End (excluded)."),
            "kind": Column(_TEXT, "-", "What kind of thing."),
            "text": Column(_TEXT, "-", "In words."),
        },
    ),
    f"features/{DAILY}": (
        "One plant-local day between limed and clear juice, by kinetics and by the laboratory",
        {
            "day": Column(pl.Date(), "plant-local time", "Day."),
            "sucrose_fed_t": Column(_NUMBER, "t", "Sucrose fed."),
            "kinetic_t": Column(_NUMBER, "t", "Sucrose lost by the kinetics."),
            "chemical_t": Column(_NUMBER, "t", "Sucrose lost by laboratory pairs; null without."),
            "chemical_sd_t": Column(_NUMBER, "t", "Standard error of chemical_t."),
            "unexplained_t": Column(_NUMBER, "t", "chemical_t less kinetic_t."),
            "detection_limit_t": Column(
                _NUMBER, "t", "Loss that the ordinary daily balance sees every second time."
            ),
            "pairs": Column(_COUNT, "-", "Laboratory pairs of the day."),
        },
    ),
    f"features/{SUMS}": (
        "One plant-local day of a search, as far as it lies in it; filed by the search's first day",
        {
            "day_local": Column(pl.Date(), "plant-local time", "Day."),
            "sucrose_fed_t": Column(_NUMBER, "t", "Sucrose fed."),
            "unavoidable_t": Column(_NUMBER, "t", "Sucrose lost by the unavoidable."),
            "excess_t": Column(_NUMBER, "t", "Sucrose lost above it."),
            "minutes": Column(_COUNT, "-", "Minutes judged."),
            "measured": Column(_COUNT, "-", "Of them with all readings."),
        },
    ),
    f"features/{SHARPNESS}": (
        "One derived feature of a search beside its raw signal; filed by the search's first day",
        {
            "feature": Column(_TEXT, "-", "Channel of the search, or feature in words."),
            "section": Column(_TEXT, "-", "Where."),
            "unit": Column(_TEXT, "-", "Unit of the signals; log is a natural logarithm."),
            "lrv_raw": Column(_NUMBER, "unit squared", "Long-run variance of the raw signal."),
            "lrv_residual": Column(_NUMBER, "unit squared", "The same of what is watched."),
            "ratio": Column(_NUMBER, "1", "lrv_raw over lrv_residual: above 1, physics helps."),
            "smallest_8h": Column(_NUMBER, "unit", "Least change of eight hours that shows."),
        },
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
    return [*_of_database(), export, *lake, _signals()]


def _described(columns: Mapping[str, Column]) -> tuple[Entry, ...]:
    return tuple(Entry(n, str(c.dtype), c.unit, c.description) for n, c in columns.items())


def _signals() -> Chapter:
    """How the columns of the grid are named: they follow from the description of the mill."""
    entries = tuple(
        Entry(
            "_".join(part for part in (prefix, "PLACE", "SIDE", unit) if part),
            "Float64",
            _UNIT_WORDS.get(unit, "pH" if quantity == "ph" else "as described"),
            f"{quantity.replace('_', ' ').capitalize()}; SIDE is left out where there is none.",
        )
        for quantity, (prefix, unit) in QUANTITY_COLUMNS.items()
    )
    return Chapter("Names of signals in the grid", "A column for each signal described", entries)


def _of_database() -> list[Chapter]:
    """Tables and views of an empty store, as the database itself describes them."""
    with duckdb.connect() as connection:
        for script in MIGRATIONS:
            connection.execute(script)
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
        cure = "Name another file with --out."
        raise ConfigError(f"Not written: {error.strerror}.", str(out), cure) from error
