"""Whether what was read of an export can be meant: tags of the mill, one value a moment."""

from __future__ import annotations

from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.base import DataError, figure, said
from pipeline.cells import repeated
from pipeline.files import shown
from pipeline.lake import TWO_VALUES, Part, Rivals, Tally
from pipeline.pull.mill import PullMill

#: Moments with two values that are a pattern, and their share of the readings of these series: a
#: clock that was set back makes a few of them, pooled samples many (estimates).
_LEAST: Final = 3
_SHARE: Final = 0.1
_MOST_TAGS: Final = 5


def require_known_tags(path: Path, tally: Tally) -> None:
    """Refuse a file none of whose tags the mill has.

    Raises
    ------
    DataError
        With the first of the tags.
    """
    if not tally.rows or tally.known_tags or not tally.unknown_tags:
        return
    tags = sorted(tally.unknown_tags)
    few = ", ".join(f'"{shown(tag, 40)}"' for tag in tags[:_MOST_TAGS])
    if len(tags) > _MOST_TAGS:
        more = figure(len(tags) - _MOST_TAGS, ",")
        few = said("{few} and {more} more", few=few, more=more)
    raise DataError(
        said(
            "Nothing of this file can be stored: none of its {tags} tags is in the description "
            "of the mill ({few}).",
            tags=figure(len(tags), ","),
            few=few,
        ),
        str(path),
        said(
            "If these are names of tags, correct [tags] and [lab] in the description, or leave the "
            "file out; if not, say where the tags stand: tag_column, heading_row or tag in the "
            "[[exports.layout]] of this kind of file."
        ),
    )


def require_one_value(
    mill: PullMill, path: Path, parts: list[Part], tally: Tally
) -> list[Part]:  # fmt: skip
    """Give the parts back, or ask about a file with two good values of a series at one moment.

    A few such moments are counted as bad, and told.

    Raises
    ------
    DataError
        With the first of them and both values.
    """
    moments = [moment for part in parts for moment in part.rivals.moments]
    if not moments:
        return parts
    tally.bad[TWO_VALUES] += len(moments)
    first = next(part.rivals for part in parts if part.rivals.moments)
    zone = ZoneInfo(mill.zone)
    local = pl.Series([moment.astimezone(zone).replace(tzinfo=None) for moment in moments])
    # The hour that comes twice has two values of each local time, and both are right.
    count = len(moments) - int(repeated(local.cast(pl.Datetime("us")), mill.zone).sum())
    if count < max(_LEAST, _SHARE * sum(part.rivals.among for part in parts)):
        tally.notes.append(_stray_note(first, len(moments), zone))
        return parts
    at = first.moments[0].astimezone(zone)
    midnight = bool((local.dt.hour() + local.dt.minute() == 0).all())
    raise DataError(
        said(
            "{tag} at {at} can be {low} or {high}: the file gives two good values of a series "
            "at one moment, {count} times.",
            tag=shown(first.tag),
            at=f"{at:%Y-%m-%d %H:%M}",
            low=figure(first.low, "g"),
            high=figure(first.high, "g"),
            count=figure(count, ","),
        ),
        said("{path}\nall of these moments are midnight: is there a time of day?", path=path)
        if midnight
        else str(path),
        said(
            "If another column tells the series apart (a juice, a point), name both: tag_columns "
            '= ["series", "juice"]; if a sheet is not meant, name those that are: sheets; if the '
            "hour stands in a column of its own: time_column and date_column; else repeats = "
            '"best" keeps the value with more digits, then the larger; all in the '
            "[[exports.layout]] of this kind of file."
        ),
    )


def _stray_note(first: Rivals, count: int, zone: ZoneInfo) -> str:
    at = first.moments[0].astimezone(zone)
    return (
        f"{count:,} readings have two good values at one moment, first {shown(first.tag)} at "
        f"{at:%Y-%m-%d %H:%M:%S} ({first.low:g} and {first.high:g}): kept as bad, without a number."
    )
