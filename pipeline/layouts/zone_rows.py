"""Rows that each give their own zone, by name or as an offset, in a column beside the time."""

from __future__ import annotations

from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.cells import LOCAL, OPEN, local_to_utc, no_moments, zone_of
from pipeline.files import shown

#: Zones of one table; beyond that the column says something else.
_MOST: Final = 200
_HOUR_S: Final = 3600


def moments_by_zone(
    naive: pl.Series, cells: pl.Series, heading: str, mill_zone: str, rules: tuple[str, str]
) -> pl.Series:
    """Moments in UTC of local times, each by the zone in its row; null where that is unknown.

    Parameters
    ----------
    naive : polars.Series
        Local times.
    cells : polars.Series
        Zones as written.
    heading : str
        Of the column of zones.
    mill_zone : str
        Zone meant by "local".
    rules : (str, str)
        Meaning of local times that come twice, or never.
    """
    frame = pl.DataFrame({"naive": naive, "zone": cells.cast(pl.String)})
    found = no_moments(len(naive)).cast(pl.Datetime("us", "UTC"))
    for word in frame["zone"].unique().drop_nulls().head(_MOST).to_list():
        zone = zone_in_row(word, heading)
        if zone is None or zone == OPEN:
            continue
        zone = mill_zone if zone == LOCAL else zone
        here = frame.with_row_index("row").filter(pl.col("zone") == word)
        moment = here.select(local_to_utc(pl.col("naive"), zone, *rules, None)).to_series()
        found = found.scatter(here["row"], moment)
    return found


def zone_in_row(word: str, heading: str) -> str | None:
    """Zone of a cell; an offset as a bare number is in the unit that its heading names."""
    if (said := zone_of(word)) is not None and not _bare(word):
        return said.zone
    if not _bare(word):
        return None
    number = float(word.strip().replace("−", "-").replace(",", "."))
    seconds = _seconds(number, heading)
    if seconds % 900 or abs(seconds) > 14 * _HOUR_S:
        return None
    minutes = abs(int(seconds)) // 60
    sign = "-" if seconds < 0 else "+"
    return "UTC" if not minutes else f"{sign}{minutes // 60:02}:{minutes % 60:02}"


def check_zones(where: str, cells: pl.Series, heading: str) -> None:
    """Ask about a column of zones that cannot be understood.

    Raises
    ------
    DataError
        Some cells name no zone, or one of several.
    """
    words = cells.cast(pl.String).drop_nulls().unique(maintain_order=True).head(_MOST)
    for word in words.filter(words.str.strip_chars() != "").to_list():
        if zone_in_row(word, heading) in (None, OPEN):
            raise DataError(
                said(
                    'The column "{heading}" says "{word}", which can be the zone of the times, by '
                    "the clock of a place or at one offset, or something else.",
                    heading=shown(heading, 40),
                    word=shown(word, 40),
                ),
                where,
                said(
                    'Say which: time_zone = "America/Chicago" (a place) or time_zone = "-06:00" '
                    "(an offset) in the [[exports.layout]] of this kind of file."
                ),
            )


def _bare(word: str) -> bool:
    text = word.strip().replace("−", "-").replace(",", ".")
    try:
        float(text)
    except ValueError:
        return False
    # Four digits with a sign are hours and minutes, as in ISO 8601.
    return not (text[:1] in "+-" and len(text) == 5 and text[1:].isdigit())


def _seconds(number: float, heading: str) -> float:
    """Seconds of an offset, by the unit in the heading, else by its size."""
    words = heading.casefold().replace("_", " ").replace("(", " ").replace(")", " ").split()
    for unit, length in (("ms", 0.001), ("s", 1), ("sec", 1), ("min", 60), ("minutes", 60),
                         ("h", _HOUR_S), ("hours", _HOUR_S)):  # fmt: skip
        if unit in words:
            return number * length
    for most, length in ((14, _HOUR_S), (840, 60), (50_400, 1)):
        if abs(number) <= most:
            return number * length
    return number / 1000
