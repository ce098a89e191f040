"""What an invented mill is, what its exports say, and what is true of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl


@dataclass(frozen=True)
class Point:
    """What a tag measures and where; `also` are other answers that mean the same."""

    quantity: str
    place: str
    port: str = ""
    also: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class TagSpec:
    """One tag of a historian.

    `kind` is a course of ``plant.COURSES``; ``x:NAME`` something outside the station;
    ``sp:KIND`` the set-point of a course; ``2:KIND`` a second probe beside it. `recorder` is
    regular, exception (held until the next record) or lines (segments join the points).
    """

    name: str
    kind: str
    unit: str
    recorder: str
    about: str = ""


@dataclass(frozen=True)
class LabSpec:
    """One series of a laboratory's book.

    `point` and `heading` are the mill's own words. `hours` is the time between two
    determinations, 24 for a composite of a day.
    """

    point: str
    at: str
    heading: str
    analyte: str
    unit: str
    basis: str = "juice"
    hours: float = 4.0


@dataclass(frozen=True)
class MillSpec:
    """One mill: fixed, so that the same files come out each time."""

    number: int
    name: str
    language: str
    zone: str
    seed: int
    start: datetime
    tags: tuple[TagSpec, ...]
    lab: tuple[LabSpec, ...]
    write: Callable[[Content, Path], list[Written]]
    every_s: int = 60
    days: int = 10
    with_events: bool = False
    #: Some determinations are repeated at the same moment.
    repeats: bool = False
    #: The book names a series by sampling point and heading.
    pooled: bool = True


@dataclass(frozen=True)
class LabTruth:
    """What a laboratory series is; `names` are all names that the schema lets it have."""

    names: tuple[str, ...]
    analyte: str
    place: str
    port: str
    unit: str
    basis: str = "juice"
    period_h: float = 0.0


@dataclass(frozen=True)
class TagTruth:
    """What a tag is.

    `point` is None where it has no place in the station, and then `why` is ``outside`` or
    ``set-point``; `second_of` names the first instrument of a pair.
    """

    unit: str
    interpolation: str
    point: Point | None = None
    why: str = ""
    of: str = ""
    second_of: str = ""


@dataclass(frozen=True)
class Truth:
    """All that is true of a mill's exports."""

    tags: Mapping[str, TagTruth]
    lab: tuple[LabTruth, ...]
    #: By file name: name, ts_utc (ms), value in the exported unit (null: no good number), or None
    #: for a file that is no export.
    readings: Mapping[str, pl.DataFrame | None]


@dataclass(frozen=True)
class Content:
    """What a mill has to export: records of each tag, determinations of each series."""

    spec: MillSpec
    #: time (UTC), tag, value, good
    records: pl.DataFrame
    #: time (UTC), series (number in `spec.lab`), text, value (null: no number), analyst
    results: pl.DataFrame
    rng: np.random.Generator = field(compare=False)

    def local(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The same rows with `local`, the time a clock on the plant's wall shows."""
        wall = pl.col("time").dt.convert_time_zone(self.spec.zone).dt.replace_time_zone(None)
        return frame.with_columns(wall.alias("local"))


@dataclass(frozen=True)
class Written:
    """A file that was written: readings it holds (None: it is no export of readings)."""

    path: Path
    readings: pl.DataFrame | None


def tag_lines(text: str) -> tuple[TagSpec, ...]:
    """Tags told one a line: ``name | kind | unit | recorder | description``."""
    rows = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    return tuple(TagSpec(*row) for row in rows)


def lab_lines(text: str) -> tuple[LabSpec, ...]:
    """Series told one a line: ``point | at | heading | analyte | unit | basis | hours``."""
    rows = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    return tuple(
        LabSpec(*row[:5], *(row[5:6] or ["juice"]), float(row[6]) if len(row) > 6 else 4.0)
        for row in rows
    )
