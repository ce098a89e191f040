"""What happens when the same moment of the same tag is told twice.

**Twice in one export**: the readings are ranked by what they say alone, and the first of the
ranking is kept, wherever they stand in the file:

1. good before bad: a sound reading is not undone by a row that lost it;
2. readable before unreadable: a bad number says more than a bad word;
3. more digits before fewer: 7.4812 before 7.48, because one of the two was rounded on export;
4. the larger value, then the later reason in the alphabet: arbitrary, but always the same.

Two good values that differ by more than rounding are not ranked when an export is pulled, unless
its layout says so: they are asked about, or kept as one bad reading (``pipeline.lake.rivals``).

**In an export and in the lake**: the last import wins, because a correction comes later than what
it corrects. It wins unless it says less: a bad reading never replaces a good one, nor an
unreadable one a number. Files of one pull count as imported in the order in which they are named.

What an export said before, under the same description, is no news: pulling an old file again
brings nothing back that a later one corrected. A person can overrule all of this and have a file
applied in full, its bad readings included.

Two good readings that differ are counted as a conflict; good readings that stay although a later
export calls them bad are counted too. Without conflicts neither order of files nor the way a
record was cut into them shows in the lake.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import polars as pl

from features.base import TAG, Column, Columns, in_order, polars_schema, rows_by_tag

READINGS_COLUMNS: Final[Columns] = {
    "ts_utc": Column.moment("Moment of the reading."),
    "tag": TAG,
    "value": Column.number("inside unit of the tag", "Null when unreadable."),
    "bad": Column.flag("True when the reading must not be used."),
    "reason": Column.text("Why it is bad; null when good."),
}
READINGS_SCHEMA: Final = polars_schema(READINGS_COLUMNS)
_KEY: Final = ("tag", "ts_utc")
#: Worth of a good reading, see `_worth`.
_GOOD: Final = 2


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
    good_stays : int
        Moments whose good reading stays although the import calls it bad.
    """

    kept: int
    merged: int
    conflicts: int
    good_stays: int = 0

    def __add__(self, other: DayMerge) -> DayMerge:
        """Sum of what two steps did."""
        return DayMerge(
            self.kept + other.kept,
            self.merged + other.merged,
            self.conflicts + other.conflicts,
            self.good_stays + other.good_stays,
        )


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
    # Equal numbers must be equal bytes, -0.0 and 0.0 too. Adding zero, as array code does, is
    # taken out again by the optimizer of frames.
    plain = pl.when(pl.col("value") == 0.0).then(0.0).otherwise("value").alias("value")
    frame = readings.select(
        pl.col(name).cast(kind) for name, kind in READINGS_SCHEMA.items()
    ).with_columns(plain)
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


def merge_readings(stored: pl.DataFrame, new: pl.DataFrame) -> tuple[pl.DataFrame, DayMerge]:
    """Two pieces of one export as one set, one reading a tag and moment.

    Parameters
    ----------
    stored, new : polars.DataFrame
        As `conform` gives them; `stored` without repeats.

    Returns
    -------
    frame : polars.DataFrame
        Sorted by tag and time, one row for each (tag, ts_utc).
    counts : DayMerge
    """
    frame, conflicts = _settle(in_order(pl.concat([stored, new])))
    kept = frame.height - stored.height
    return frame, DayMerge(kept, new.height - kept, conflicts)


def import_readings(
    stored: pl.DataFrame,
    new: pl.DataFrame,
    tags_repeated: Collection[str] = (),
    *,
    in_full: bool = False,
) -> tuple[pl.DataFrame, DayMerge]:
    """Stored readings with those of a later import; see the head of this module.

    Parameters
    ----------
    stored, new : polars.DataFrame
        As `conform` gives them; `stored` without repeats.
    tags_repeated : collection of str
        Tags of which this export is no news.
    in_full : bool
        The import replaces whatever is stored of its moments.

    Returns
    -------
    frame : polars.DataFrame
        Sorted by tag and time, one row for each (tag, ts_utc).
    counts : DayMerge
    """
    single, conflicts = _settle(in_order(new))
    if stored.is_empty():
        return single, DayMerge(single.height, new.height - single.height, conflicts)
    # Tags of which the import says nothing stay as they are; most exports tell of few or of all.
    hints_of = set(single["tag"].unique())
    apart = rows_by_tag(stored)
    shared = [apart.pop(tag) for tag in sorted(hints_of & apart.keys())]
    stored_of = pl.concat(shared) if shared else stored.clear()
    frame, count = _import_shared(stored_of, single, tags_repeated, in_full=in_full)
    parts = apart | rows_by_tag(frame)
    merged = new.height - count.kept
    return (
        pl.concat([parts[tag] for tag in sorted(parts)]),
        DayMerge(count.kept, merged, conflicts + count.conflicts, count.good_stays),
    )


def _import_shared(
    stored: pl.DataFrame, single: pl.DataFrame, tags_repeated: Collection[str], *, in_full: bool
) -> tuple[pl.DataFrame, DayMerge]:
    """Readings of the tags of an import, one a moment in it, with what is stored of these tags."""
    old = stored.select(*_KEY, old=pl.col("value"), old_worth=_worth()).with_columns(
        known=pl.lit(value=True)
    )
    both = single.join(old, on=_KEY, how="left", maintain_order="left").with_columns(
        known=pl.col("known").fill_null(value=False), worth=_worth()
    )
    news = ~pl.col("tag").is_in(list(tags_repeated)) | pl.lit(in_full)
    wins = pl.lit(in_full) | (pl.col("worth") > pl.col("old_worth"))
    wins |= news & (pl.col("worth") == pl.col("old_worth"))
    both_good = (pl.col("worth") == _GOOD) & (pl.col("old_worth") == _GOOD)
    facts = both.filter("known").select(
        conflicts=(both_good & news & (pl.col("value") != pl.col("old"))).sum(),
        good_stays=(~wins & news & (pl.col("old_worth") == _GOOD)).sum(),
    )
    taken = both.filter(~pl.col("known") | wins).select(READINGS_SCHEMA.names())
    rest = stored.join(taken, on=_KEY, how="anti", maintain_order="left")
    frame = pl.concat([rest, taken]).sort(_KEY)
    kept = frame.height - stored.height
    differ, stay = facts.row(0)
    return frame, DayMerge(kept, single.height - kept, differ, stay)


def _worth() -> pl.Expr:
    """How much a reading says: good, bad with a number, bad without."""
    return (~pl.col("bad")).cast(pl.Int8) + pl.col("value").is_not_null().cast(pl.Int8)


def _settle(readings: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """One reading a (tag, moment) from sorted readings, and how many good ones disagreed."""
    if not _repeats(readings).any():
        return readings, 0
    # Repeats that are equal in every column are the common case and need no ranking.
    echo = pl.all_horizontal(pl.all().eq_missing(pl.all().shift()))
    readings = readings.filter(~echo.fill_null(value=False) | (pl.int_range(pl.len()) == 0))
    repeat = _repeats(readings)
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


def _repeats(ordered: pl.DataFrame) -> pl.Series:
    """Whether each reading is of the same tag and moment as the one before it."""
    # Moments first: they rarely agree, and numbers are compared faster than words.
    same = (ordered["ts_utc"] == ordered["ts_utc"].shift()).fill_null(value=False)
    return same & (ordered["tag"] == ordered["tag"].shift()) if same.any() else same
