"""From raw columns to readings: moments in UTC, numbers in the inside unit, reasons in words.

A row is refused only when it cannot be a reading of this mill (no moment, no tag, or a tag the
mill does not have); the count of each reason is given back. A value that cannot be used is
kept: bad, with its reason.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.cells import to_numbers
from pipeline.exports.evidence import Evidence
from pipeline.exports.moment_rows import ROW, ZONE, MillClock, with_moments
from pipeline.exports.passes import ADDED
from pipeline.exports.sections import UNITS, is_heading
from pipeline.exports.series import pooled, series_of
from pipeline.exports.units import in_inside_unit
from pipeline.exports.worst import quality_columns, worst_quality
from pipeline.files import EXTRA, SHORT
from pipeline.lake import READINGS_SCHEMA, Tally
from pipeline.layouts import Plan, Quality, joined_time


def to_readings(
    raw: pl.DataFrame,
    plan: Plan,
    clock: MillClock,
    tally: Tally,
    evidence: Evidence | None = None,
) -> pl.DataFrame:
    """Readings of one batch of raw rows.

    Parameters
    ----------
    raw : polars.DataFrame
        A batch as ``pipeline.files.tables.batches`` gives it.
    plan : Plan
        Which column holds what.
    clock : MillClock
        Zone, clock-change rules and tags of the mill.
    tally : Tally
        Counts, added to.
    evidence : Evidence, optional
        What the batches before have shown of the table; added to.

    Returns
    -------
    polars.DataFrame
        ts_utc, tag, value [inside unit], bad, reason; unsorted, repeats kept.
    """
    evidence = evidence or Evidence()
    rows = joined_time(raw, plan).with_row_index(ROW)
    rows = _whole_rows(rows, plan, tally)
    frame = (
        _long(rows, plan, clock, tally) if plan.shape == "long" else _wide(rows, plan, clock, tally)
    )
    frame = evidence.without_fillers(frame, plan.fillers)
    tally.bad.update(dict(frame.filter("bad").group_by("kind").len().iter_rows()))
    tally.unreadable += int((frame["kind"] == "unreadable_text").sum())
    tally.end_batch(raw.drop(*ADDED, UNITS, strict=False))
    converted = in_inside_unit(frame, clock, evidence, plan.units_given, plan.where)
    readings = converted.select("ts_utc", "tag", "value", "bad", "reason").cast(READINGS_SCHEMA)
    evidence.watch(readings)
    return readings


def _whole_rows(rows: pl.DataFrame, plan: Plan, tally: Tally) -> pl.DataFrame:
    """Rows with as many cells as the headings, without headings and units that come again."""
    weight = len(plan.tags) if plan.shape == "wide" else 1
    extra = pl.lit(value=False)
    if EXTRA in rows.columns:
        extra = pl.col(EXTRA).fill_null(value=False)
    short = pl.lit(value=False)
    if SHORT in rows.columns and not plan.short_is_empty:
        short = (pl.col(SHORT) < _cells_used(rows, plan)).fill_null(value=False)
    again = pl.lit(value=False)
    units = pl.col(UNITS) if UNITS in rows.columns else pl.lit(value=False)
    if rows.schema[plan.date or plan.time] == pl.String:
        again = is_heading(plan)
    for reason, which, unreadable in (
        ("cells_too_many", extra, True),
        ("heading_again", again & ~extra, False),
        ("units_again", units & ~again & ~extra, False),
        ("cells_too_few", short & ~again & ~units & ~extra, True),
    ):
        found = rows.filter(which)[ROW]
        if len(found):
            tally.rows += len(found) * weight
            tally.refuse(reason, found, weight=weight, unreadable=unreadable)
    return rows.filter(~extra & ~again & ~units & ~short)


def _cells_used(rows: pl.DataFrame, plan: Plan) -> int:
    """Cells that a row must have: all of a wide table's, of a long one up to the last in use."""
    names = [name for name in rows.columns if not name.startswith(" ")]
    if plan.needed:
        return plan.needed
    if plan.shape != "long":
        return len(names)
    used = {plan.time, plan.date, plan.half, plan.zone, plan.tag, plan.value, *plan.tag_columns}
    return max(k for k, name in enumerate(names, start=1) if name in used)


def _long(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of a table with one reading a row."""
    assert plan.value is not None
    facts = plan.tag_units.get(plan.value) or None
    unit = pl.col(plan.unit) if plan.unit else pl.lit(facts, pl.String)
    frame = raw.select(
        ROW,
        *_added(raw),
        *_zone_cells(plan),
        time=pl.col(plan.time),
        tag=series_of(plan),
        raw=pl.col(plan.value),
        unit=unit.cast(pl.String).str.strip_chars(),
        **quality_columns(plan.qualities),
    )
    return _of_rows(frame, plan, clock, tally, plan.qualities)


def _pooled(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of a wide table whose series are named by columns and headings together."""
    kept: list[str | pl.Expr] = [
        ROW,
        *_added(raw),
        pl.col(plan.time).alias("time"),
        *_zone_cells(plan),
    ]
    frame = pooled(raw, plan, kept)
    empty = pl.col("raw").is_null() | (pl.col("raw").str.strip_chars() == "")
    tally.rows += int(frame.select(empty.sum()).item())
    frame = _refuse(frame, empty, "empty_cell", tally)
    return _of_rows(frame, plan, clock, tally, ())


def _of_rows(
    frame: pl.DataFrame,
    plan: Plan,
    clock: MillClock,
    tally: Tally,
    qualities: Sequence[Quality],
) -> pl.DataFrame:
    """Readings of rows that each name their series."""
    tally.rows += frame.height
    nameless = pl.col("tag").is_null() | (pl.col("tag") == "")
    frame = _refuse(frame, nameless, "tag_absent", tally, unreadable=True)
    met = set(frame["tag"].unique())
    tally.known_tags |= met & clock.unit_changes.keys()
    tally.unknown_tags |= met - clock.unit_changes.keys()
    if not met <= clock.unit_changes.keys():
        known = pl.col("tag").is_in(list(clock.unit_changes))
        frame = _refuse(frame, ~known, "tag_not_in_mill", tally)
    frame = with_moments(frame, plan, clock, tally)
    return _with_values(frame, plan, qualities)


def _wide(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of a table with one column a tag; an empty cell is no reading."""
    if plan.tag_columns:
        return _pooled(raw, plan, clock, tally)
    called = {column: _tag_of(column, plan, clock) for column in plan.tags}
    known = [column for column in plan.tags if called[column] in clock.unit_changes]
    tally.rows += raw.height * len(plan.tags)
    tally.known_tags |= {called[column] for column in known}
    tally.unknown_tags |= {called[column] for column in plan.tags if column not in known} - {""}
    judges = [quality.column for quality in plan.qualities]
    kept: list[str | pl.Expr] = [ROW, *known, *judges, *_added(raw), *_zone_cells(plan)]
    frame = raw.select(*kept, time=pl.col(plan.time))
    if len(known) < len(plan.tags):
        tally.refuse("tag_not_in_mill", frame[ROW], weight=len(plan.tags) - len(known))
    timed = with_moments(frame, plan, clock, tally, weight=len(known))
    parts = [_wide_part(timed, column, called[column], plan, tally) for column in known]
    nothing = {**READINGS_SCHEMA, **dict.fromkeys(("kind", "unit", "suffix"), pl.String())}
    return pl.concat(parts) if parts else pl.DataFrame(schema=nothing)


def _zone_cells(plan: Plan) -> list[pl.Expr]:
    """The zone of each row, where it has one."""
    return [pl.col(plan.zone).alias(ZONE)] if plan.zone is not None else []


def _added(raw: pl.DataFrame) -> list[str]:
    """Columns of moments that a batch has already."""
    return [name for name in ADDED if name in raw.columns]


def _tag_of(column: str, plan: Plan, clock: MillClock) -> str:
    """Tag that a column holds: its whole heading when the mill knows it so, else without unit."""
    if column in clock.unit_changes and column not in plan.moved:
        return column
    return plan.tag_names.get(column, column)


def _wide_part(
    timed: pl.DataFrame, column: str, tag: str, plan: Plan, tally: Tally
) -> pl.DataFrame:  # fmt: skip
    """Readings of one column of a wide table."""
    qualities = [quality for quality in plan.qualities if quality.of in ("", column)]
    cells = timed.select(
        "ts_utc",
        ROW,
        tag=pl.lit(tag),
        raw=pl.col(column),
        **quality_columns(qualities),
        unit=pl.lit(plan.tag_units.get(column) or None, pl.String),
    )
    empty = pl.col("raw").is_null()
    if cells.schema["raw"] == pl.String:
        empty |= pl.col("raw").str.strip_chars() == ""
    return _with_values(_refuse(cells, empty, "empty_cell", tally), plan, qualities)


def _refuse(
    frame: pl.DataFrame, rows: pl.Expr, reason: str, tally: Tally, *, unreadable: bool = False
) -> pl.DataFrame:
    """Leave out some rows and count them."""
    kept = frame.filter(~rows)
    if kept.height < frame.height:
        tally.refuse(reason, frame.filter(rows)[ROW], unreadable=unreadable)
    return kept


def _with_values(frame: pl.DataFrame, plan: Plan, qualities: Sequence[Quality]) -> pl.DataFrame:
    """Turn ``raw`` and qualities into value, bad, reason, kind of reason, and what is behind it."""
    if frame.schema["raw"] == pl.String:
        numbered = to_numbers(frame, plan.marks, plan.no_result_words, plan.harmless_marks)
    else:
        nothing = [pl.lit(None, pl.String).alias(name) for name in ("kind", "word", "suffix")]
        numbered = frame.with_columns(pl.col("raw").cast(pl.Float64).alias("value"), *nothing)
    numbered = numbered.with_columns(worst_quality(numbered, plan, qualities).alias("poor"))
    why = pl.coalesce(
        "kind",
        pl.when(pl.col("value").is_null()).then(pl.lit("no_value")),
        pl.when(~pl.col("value").is_finite()).then(pl.lit("not_a_number")),
        "poor",
    )
    return numbered.with_columns(kind=why).select(
        "ts_utc",
        "tag",
        value=pl.when(pl.col("value").is_finite()).then("value"),
        bad=pl.col("kind").is_not_null(),
        reason=pl.coalesce("word", "kind"),
        kind="kind",
        unit="unit",
        suffix="suffix",
    )
