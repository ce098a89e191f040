"""From raw columns to readings: moments in UTC, numbers in the inside unit, reasons in words.

A row is refused only when it cannot be a reading of this mill (no moment, no tag, or a tag the
mill does not have); the count of each reason is given back. A value that cannot be used is
kept: bad, with its reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal, Protocol

import polars as pl

from pipeline.lake_merge import READINGS_SCHEMA
from pipeline.readers_layout import Plan, plain_time
from pipeline.refused import Tally
from pipeline.units import UnitChange

#: Longest word kept as a reason; exports are foreign text.
REASON_CHARS: Final = 40
#: Which of polars' words stands for which of the mill's.
_AMBIGUOUS: Final[dict[str, Literal["earliest", "latest", "null"]]] = {
    "first": "earliest",
    "second": "latest",
    "refuse": "null",
}
_UTC: Final = pl.Datetime("us", "UTC")
#: Place of a row in its batch, carried along until the row is a reading. No column of an
#: export is called so: names are stripped of blanks.
_ROW: Final = " row"
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LIMIT: Final = rf"^([<>])\s*=?\s*({_NUMBER})$"


class MillClock(Protocol):
    """What reading needs to know of a mill."""

    @property
    def zone(self) -> str:
        """IANA zone of local times."""

    @property
    def ambiguous(self) -> str:
        """Meaning of a local time that occurs twice: first, second or refuse."""

    @property
    def missing(self) -> str:
        """Fate of a local time that is skipped: shift_forward or refuse."""

    @property
    def unit_changes(self) -> Mapping[str, UnitChange]:
        """Every tag and lab series of the mill, with its change of unit."""


def to_readings(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of one batch of raw rows.

    Parameters
    ----------
    raw : polars.DataFrame
        A batch as ``pipeline.readers.batches`` gives it.
    plan : Plan
        Which column holds what.
    clock : MillClock
        Zone, clock-change rules and tags of the mill.
    tally : Tally
        Counts, added to.

    Returns
    -------
    polars.DataFrame
        ts_utc, tag, value [inside unit], bad, reason; unsorted, repeats kept.
    """
    frame = (
        _long(raw, plan, clock, tally) if plan.shape == "long" else _wide(raw, plan, clock, tally)
    )
    tally.bad.update(dict(frame.filter("bad").group_by("kind").len().iter_rows()))
    tally.unreadable += int((frame["kind"] == "unreadable_text").sum())
    tally.end_batch(raw)
    return frame.select(
        "ts_utc", "tag", _in_inside_unit(clock).alias("value"), "bad", "reason"
    ).cast(READINGS_SCHEMA)


def _long(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of a file with one reading a row."""
    assert plan.tag is not None and plan.value is not None
    quality = pl.col(plan.quality) if plan.quality else pl.lit(None, pl.String)
    frame = raw.with_row_index(_ROW).select(
        _ROW,
        time=pl.col(plan.time),
        tag=pl.col(plan.tag).cast(pl.String).str.strip_chars(),
        raw=pl.col(plan.value),
        quality=quality.cast(pl.String).str.strip_chars().str.to_lowercase(),
    )
    tally.rows += frame.height
    nameless = pl.col("tag").is_null() | (pl.col("tag") == "")
    frame = _refuse(frame, nameless, "tag_absent", tally, unreadable=True)
    met = set(frame["tag"].unique())
    tally.known_tags |= met & clock.unit_changes.keys()
    tally.unknown_tags |= met - clock.unit_changes.keys()
    known = pl.col("tag").is_in(list(clock.unit_changes))
    frame = _refuse(frame, ~known, "tag_not_in_mill", tally)
    frame = _with_moments(frame, plan, clock, tally)
    return _with_values(frame, plan, has_quality=plan.quality is not None)


def _wide(raw: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally) -> pl.DataFrame:
    """Readings of a file with one column a tag; an empty cell is no reading."""
    known = [tag for tag in plan.tags if tag in clock.unit_changes]
    tally.rows += raw.height * len(plan.tags)
    tally.known_tags |= set(known)
    tally.unknown_tags |= set(plan.tags) - set(known)
    frame = raw.select(*known, time=pl.col(plan.time)).with_row_index(_ROW)
    if len(known) < len(plan.tags):
        tally.refuse("tag_not_in_mill", frame[_ROW], weight=len(plan.tags) - len(known))
    timed = _with_moments(frame, plan, clock, tally, weight=len(known))
    parts = [_wide_part(timed, tag, plan, tally) for tag in known]
    return pl.concat(parts) if parts else READINGS_SCHEMA.to_frame().with_columns(kind="reason")


def _wide_part(timed: pl.DataFrame, tag: str, plan: Plan, tally: Tally) -> pl.DataFrame:
    """Readings of one column of a wide file."""
    cells = timed.select(
        "ts_utc", _ROW, tag=pl.lit(tag), raw=pl.col(tag), quality=pl.lit(None, pl.String)
    )
    empty = pl.col("raw").is_null()
    if cells.schema["raw"] == pl.String:
        empty |= pl.col("raw").str.strip_chars() == ""
    return _with_values(_refuse(cells, empty, "empty_cell", tally), plan, has_quality=False)


def _refuse(
    frame: pl.DataFrame, rows: pl.Expr, reason: str, tally: Tally, *, unreadable: bool = False
) -> pl.DataFrame:
    """Leave out some rows and count them."""
    kept = frame.filter(~rows)
    if kept.height < frame.height:
        tally.refuse(reason, frame.filter(rows)[_ROW], unreadable=unreadable)
    return kept


def _with_moments(
    frame: pl.DataFrame, plan: Plan, clock: MillClock, tally: Tally, weight: int = 1
) -> pl.DataFrame:
    """Replace ``time`` by ``ts_utc``, refusing rows without a moment (`weight` readings each)."""
    naive, moment = _moments(frame["time"], plan, clock)
    timed = frame.drop("time").with_columns(moment.alias("ts_utc"))
    if not moment.null_count():
        return timed
    zone = plan.time_zone or clock.zone
    either = pl.col("naive").dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    unreadable, repeated = pl.col("naive").is_null(), either.is_not_null()
    unknown = pl.DataFrame({_ROW: frame[_ROW], "naive": naive}).filter(moment.is_null())
    for reason, rows in (
        ("time_unreadable", unreadable),
        ("local_time_repeated", repeated),
        ("local_time_skipped", ~unreadable & ~repeated),
    ):
        found = unknown.filter(rows)[_ROW]
        if len(found):
            tally.refuse(reason, found, weight=weight, unreadable=reason == "time_unreadable")
    return timed.filter(pl.col("ts_utc").is_not_null())


def _moments(times: pl.Series, plan: Plan, clock: MillClock) -> tuple[pl.Series, pl.Series]:
    """Local reading (null for times with an offset) and moment in UTC of each time."""
    kind = times.dtype
    nothing = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(times))
    if isinstance(kind, pl.Datetime) and kind.time_zone is not None:
        return nothing, times.cast(_UTC)
    offset = pl.Series([None], dtype=_UTC).new_from_index(0, len(times))
    if isinstance(kind, pl.Datetime | pl.Date):
        naive = times.cast(pl.Datetime("us"))
    elif kind == pl.String:
        text = times.to_frame("t").select(plain_time(pl.col("t"))).to_series()
        naive = _first_readable(text, [f for f in plan.time_formats if "%z" not in f], nothing)
        if naive.null_count() > text.null_count():
            formats = [f if "%z" in f else f + "%z" for f in plan.time_formats]
            offset = _first_readable(text, formats, offset)
    else:
        return nothing, offset
    frame = pl.DataFrame({"naive": naive, "offset": offset})
    local = _local_to_utc(pl.col("naive"), plan, clock)
    return naive, frame.select(pl.coalesce(local, "offset")).to_series()


def _first_readable(text: pl.Series, formats: Sequence[str], found: pl.Series) -> pl.Series:
    """Read text by several formats in turn, stopping as soon as all of it is read."""
    for pattern in formats:
        if found.null_count() == text.null_count():
            break
        read = text.str.to_datetime(pattern, strict=False, time_unit="us").cast(found.dtype)
        found = found.zip_with(found.is_not_null(), read)
    return found


def _local_to_utc(naive: pl.Expr, plan: Plan, clock: MillClock) -> pl.Expr:
    """Moment of a local time; null where the mill's rules refuse it."""
    zone = plan.time_zone or clock.zone
    ambiguous = _AMBIGUOUS[clock.ambiguous]
    moment = naive.dt.replace_time_zone(zone, ambiguous=ambiguous, non_existent="null").cast(_UTC)
    if clock.missing == "refuse":
        return moment
    # A skipped local time is read with the offset that held before the clocks changed: three
    # hours earlier is safely on that side, and three hours of elapsed time lead back.
    either = naive.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    back = pl.duration(hours=3)
    earlier = (naive - back).dt.replace_time_zone(zone, ambiguous="latest", non_existent="null")
    return pl.when(either.is_null()).then(earlier.cast(_UTC) + back).otherwise(moment)


def _with_values(frame: pl.DataFrame, plan: Plan, *, has_quality: bool) -> pl.DataFrame:
    """Turn ``raw`` and ``quality`` into value, bad, reason and the kind of reason."""
    kind = frame.schema["raw"]
    numbered = (
        _from_text(frame, plan)
        if kind == pl.String
        else frame.with_columns(
            value=pl.col("raw").cast(pl.Float64),
            kind=pl.lit(None, pl.String),
            word=pl.lit(None, pl.String),
        )
    )
    poor = ~pl.col("quality").is_in(list(plan.good_words)).fill_null(value=False)
    why = pl.coalesce(
        "kind",
        pl.when(pl.col("value").is_null()).then(pl.lit("no_value")),
        pl.when(~pl.col("value").is_finite()).then(pl.lit("not_a_number")),
        pl.when(poor if has_quality else pl.lit(value=False)).then(pl.lit("bad_quality")),
    )
    return numbered.with_columns(kind=why).select(
        "ts_utc",
        "tag",
        value=pl.when(pl.col("value").is_finite()).then("value"),
        bad=pl.col("kind").is_not_null(),
        reason=pl.coalesce("word", "kind"),
        kind="kind",
    )


def _from_text(frame: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    """Numbers out of text; what is not a plain number keeps its word as reason."""
    text = pl.col("raw").str.strip_chars()
    number = text
    if plan.decimal == ",":
        # A point in such a file parts thousands, and only where it stands right; otherwise
        # the text stays unreadable rather than become a number a thousand times too large.
        grouped = text.str.contains(r"^[<>]?\s*[+-]?\d{1,3}(\.\d{3})+,\d+$")
        plain = pl.when(text.str.contains(".", literal=True)).then(pl.lit(None)).otherwise(text)
        number = pl.when(grouped).then(text.str.replace_all(".", "", literal=True)).otherwise(plain)
        number = number.str.replace(",", ".", literal=True)
    no_result = text.str.to_lowercase().is_in(list(plan.no_result_words))
    limit = number.str.extract_groups(_LIMIT)
    value = pl.when(~no_result).then(
        pl.coalesce(number.cast(pl.Float64, strict=False), limit.struct[1].cast(pl.Float64))
    )
    kind = (
        pl.when(text.is_null() | (text == ""))
        .then(pl.lit("no_value"))
        .when(no_result)
        .then(pl.lit("no_result"))
        .when(limit.struct[0] == "<")
        .then(pl.lit("below_detection"))
        .when(limit.struct[0] == ">")
        .then(pl.lit("above_detection"))
        .when(value.is_null())
        .then(pl.lit("unreadable_text"))
    )
    frame = frame.with_columns(value=value, kind=kind)
    keeps_word = pl.col("kind").is_in(["no_result", "unreadable_text"])
    return frame.with_columns(word=pl.when(keeps_word).then(_printable(text)))


def _printable(text: pl.Expr) -> pl.Expr:
    """Foreign text fit to be shown: no control characters, no more than a line of it."""
    return text.str.replace_all(r"\p{C}", " ").str.slice(0, REASON_CHARS)


def _in_inside_unit(clock: MillClock) -> pl.Expr:
    """Value after the change of unit of its tag."""
    other = {t: c for t, c in clock.unit_changes.items() if c != UnitChange()}
    if not other:
        return pl.col("value")
    scale = pl.col("tag").replace_strict(
        list(other), [c.scale for c in other.values()], default=1.0, return_dtype=pl.Float64
    )
    offset = pl.col("tag").replace_strict(
        list(other), [c.offset for c in other.values()], default=0.0, return_dtype=pl.Float64
    )
    return pl.col("value") * scale + offset
