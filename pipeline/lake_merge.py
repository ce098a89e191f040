"""What happens when two exports tell about the same moment of the same tag.

The outcome must not depend on which file came first or on how a record was cut into files, so
readings of one (tag, moment) are ranked by what they say alone, and the first of the ranking is
kept. Picking the first of a fixed ranking gives the same survivor whatever the order and the
grouping of the comparisons.

The ranking, best first:

1. good before bad: a sound reading is not undone by a re-export that lost it;
2. readable before unreadable: a bad number says more than a bad word;
3. more digits before fewer: 7.4812 before 7.48, because one of the two was rounded on export;
4. the larger value, then the later reason in the alphabet: arbitrary, but always the same.

Two good readings that differ are counted as a conflict. A correction made later in the source
cannot be told from a mistake by looking at the readings; a person says so by importing the file
as a correction, and then its readings replace the stored ones. Exports in local time without
an offset say the hour after clocks go back twice; those readings meet here too, and are counted
as conflicts unless the mill refuses such times.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import polars as pl

READINGS_SCHEMA: Final = pl.Schema(
    [
        ("ts_utc", pl.Datetime("us", "UTC")),
        ("tag", pl.String()),
        ("value", pl.Float64()),
        ("bad", pl.Boolean()),
        ("reason", pl.String()),
    ]
)
_KEY: Final = ("tag", "ts_utc")


@dataclass(frozen=True, slots=True)
class DayMerge:
    """What adding readings to one day did.

    Attributes
    ----------
    kept : int
        Readings of moments not stored before.
    merged : int
        Readings of moments already stored, or said twice in the same import.
    conflicts : int
        Moments for which two good readings differ.
    """

    kept: int
    merged: int
    conflicts: int


def conform(readings: pl.DataFrame) -> pl.DataFrame:
    """Readings with exactly the stored columns and types.

    Raises
    ------
    ValueError
        A column is absent; a tag, time or flag is null; a good reading has no finite value or
        has a reason; a bad one has none.
    """
    absent = [name for name in READINGS_SCHEMA if name not in readings.columns]
    if absent:
        raise ValueError(f"readings lack the columns {', '.join(absent)}")
    # Adding zero turns -0.0 into 0.0: equal numbers must be equal bytes.
    frame = readings.select(
        pl.col(name).cast(kind) for name, kind in READINGS_SCHEMA.items()
    ).with_columns(pl.col("value") + 0.0)
    broken = (
        pl.any_horizontal(pl.col("ts_utc", "tag", "bad").is_null())
        | pl.col("value").is_nan()
        | (~pl.col("bad") & (pl.col("value").is_null() | pl.col("reason").is_not_null()))
        | (pl.col("bad") & pl.col("reason").is_null())
        | pl.col("value").is_infinite()
    )
    wrong = frame.filter(broken)
    if wrong.height:
        raise ValueError(f"{wrong.height} readings break the rules; the first: {wrong.row(0)}")
    return frame


def merge_readings(
    stored: pl.DataFrame, new: pl.DataFrame, *, overrule: bool = False
) -> tuple[pl.DataFrame, DayMerge]:
    """Stored and new readings as one set, one reading a tag and moment.

    Parameters
    ----------
    stored, new : polars.DataFrame
        As `conform` gives them; `stored` without repeats.
    overrule : bool
        New readings replace stored ones of the same tag and moment (a declared correction).

    Returns
    -------
    frame : polars.DataFrame
        Sorted by tag and time, one row for each (tag, ts_utc).
    counts : DayMerge
    """
    before = stored.join(new, on=_KEY, how="anti") if overrule else stored
    frame, conflicts = _settle(pl.concat([before, new]).sort(_KEY))
    if overrule:
        conflicts += _corrected(stored, frame)
    kept = frame.height - stored.height
    return frame, DayMerge(kept, new.height - kept, conflicts)


def _corrected(stored: pl.DataFrame, frame: pl.DataFrame) -> int:
    """Moments whose good reading was replaced by another good one."""
    good = stored.filter(~pl.col("bad")).select(*_KEY, "value")
    both = frame.filter(~pl.col("bad")).join(good, on=_KEY, suffix="_stored")
    return both.filter(pl.col("value") != pl.col("value_stored")).height


def _settle(readings: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """One reading a (tag, moment) from sorted readings, and how many good ones disagreed."""
    # Repeats that are equal in every column are the common case and need no ranking.
    echo = pl.all_horizontal(pl.all().eq_missing(pl.all().shift()))
    readings = readings.filter(~echo.fill_null(value=False) | (pl.int_range(pl.len()) == 0))
    same_as_above = pl.all_horizontal(pl.col(name) == pl.col(name).shift() for name in _KEY)
    repeat = readings.select(same_as_above.fill_null(value=False)).to_series()
    if not repeat.any():
        return readings, 0
    involved = repeat | repeat.shift(-1, fill_value=False)
    rivals = readings.filter(involved).unique()
    good = rivals.filter(~pl.col("bad"))
    conflicts = int((good.group_by(_KEY).len()["len"] > 1).sum())
    best = (
        rivals.with_columns(
            unreadable=pl.col("value").is_null(),
            digits=pl.col("value").abs().cast(pl.String).str.len_chars().fill_null(0),
        )
        .sort(
            [*_KEY, "bad", "unreadable", "digits", "value", "reason"],
            descending=[False, False, False, False, True, True, True],
            nulls_last=True,
        )
        .unique(_KEY, keep="first", maintain_order=True)
        .select(READINGS_SCHEMA.names())
    )
    return pl.concat([readings.filter(~involved), best]).sort(_KEY), conflicts
