"""Which columns of a table say when: moments, dates with times of day, halves of days, zones."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol

import polars as pl

from pipeline.base import Answer, DataError, joined, said
from pipeline.cells import LOCAL, OPEN
from pipeline.files import TIME_NAMES, is_moment, plain_name, shown
from pipeline.layouts.kinds import (
    Kind,
    filled,
    heading_words,
    is_counted,
    kind_of,
    says_offsets,
    says_sampling,
    says_zones,
    sounds_like_hours,
    sounds_like_time,
    sounds_like_zone,
)
from pipeline.layouts.zones_said import heading_zone
from pipeline.mill import ExportLayout

Clock = Literal["", "text", "hours", "hhmm"]
_SAMPLE: Final = 5000
#: A column of moments is filled in this share of rows at least, where another is in nearly all.
_SPARSE: Final = 0.5
_ZONES: Final = frozenset({"zone", "zona", "fuso", "fuseau", "huso"})


class Stamped(Protocol):
    """Where the moments of a table stand."""

    @property
    def time(self) -> str:
        """Column of moments, or of times of day."""

    @property
    def date(self) -> str | None:
        """Column of dates where these stand apart."""

    @property
    def half(self) -> str | None:
        """Column of AM and PM where these stand apart."""

    @property
    def clock(self) -> Clock:
        """How times of day apart from their dates are written; empty where there are none."""


@dataclass(frozen=True, slots=True)
class When:
    """Columns of moments, named as in `Stamped`, and that of their zones."""

    time: str
    date: str | None = None
    half: str | None = None
    clock: Clock = ""
    zone: str | None = None


def moment_columns(first: pl.DataFrame, names: Sequence[str]) -> dict[str, Kind]:
    """Kind of each column."""
    return {name: kind_of(first[name]) for name in names}


def when_for(
    where: str, first: pl.DataFrame, kinds: dict[str, Kind], given: ExportLayout
) -> When | None:
    """Columns that say when; None where no column does.

    Raises
    ------
    DataError
        Several columns of moments differ, and none of them is named after the sampling.
    """
    half = given.half_column or _only(kinds, "half")
    zone = given.zone_column
    if zone is None and given.time_zone is None:
        zone = _zone_column(first, kinds)
    if given.time_column is not None:
        time = given.time_column.strip()
        return _apart(where, first, kinds, When(time, given.date_column, half, "", zone))
    kinds = {n: _as_date(first, n, kind, kinds) for n, kind in kinds.items() if not is_moment(n)}
    moments = [n for n, kind in kinds.items() if kind == "moment"]
    moments += [
        n for n, kind in kinds.items()
        if kind == "number" and _is_time_name(n) and is_counted(first[n])
    ]  # fmt: skip
    dates = [n for n, kind in kinds.items() if kind == "date"]
    clocks = _clocks(first, kinds, dates)
    if given.date_column is not None:
        date = given.date_column.strip()
        time = _picked(where, first, clocks) if clocks else date
        return _apart(where, first, kinds, When(time, date, half, "", zone))
    if not moments and dates and clocks:
        date, time = _picked(where, first, dates), _picked(where, first, clocks)
        return _apart(where, first, kinds, When(time, date, half, "", zone))
    if len(dates) == 1 and len(clocks) == 1 and moments:
        raise _asked(where, first, [*moments, dates[0]])
    if moments or dates:
        return _with_half(
            first, When(_picked(where, first, moments or dates), None, half, "", zone)
        )
    return None


def _as_date(first: pl.DataFrame, name: str, kind: Kind, kinds: dict[str, Kind]) -> Kind:
    """Kind of a column, that of dates where its moments only repeat beside times of day."""
    clocks = [n for n, k in kinds.items() if k == "clock"]
    if kind != "moment" or len(clocks) != 1:
        return kind
    moments, clock = first[name].drop_nulls(), first[clocks[0]].drop_nulls()
    repeats = moments.n_unique() < len(moments) and clock.n_unique() > 1
    days = moments.cast(pl.String).str.replace(r"[ T]\d{1,2}:\d{2}.*$", "").n_unique()
    return "date" if repeats and days == moments.n_unique() else kind


def _only(kinds: dict[str, Kind], kind: Kind) -> str | None:
    found = [name for name, k in kinds.items() if k == kind]
    return found[0] if len(found) == 1 else None


def _is_time_name(name: str) -> bool:
    return plain_name(name) in TIME_NAMES or sounds_like_time(name)


def _clocks(first: pl.DataFrame, kinds: dict[str, Kind], dates: Sequence[str]) -> list[str]:
    """Columns of times of day; whole numbers only beside dates and under a fitting heading."""
    found = [n for n, kind in kinds.items() if kind == "clock"]
    if found or not dates:
        return found
    return [
        n for n, kind in kinds.items()
        if kind == "number" and sounds_like_hours(n) and _number_clock(first[n])
    ]  # fmt: skip


def _number_clock(column: pl.Series) -> Clock:
    """How whole numbers tell a time of day; empty where they do not."""
    text = column.cast(pl.String).str.strip_chars().str.replace(r"\.0+$", "").drop_nulls()
    text = text.filter(text != "").head(_SAMPLE)
    number = text.str.extract(r"^(\d{1,4})$", 1).cast(pl.Int64, strict=False)
    if text.is_empty() or number.null_count():
        return ""
    if bool((number <= 24).all()) and bool((text.str.len_chars() <= 2).all()):
        return "hours"
    sensible = (number // 100 <= 24) & (number % 100 < 60)
    return "hhmm" if bool(sensible.all()) else ""


def _apart(
    where: str, first: pl.DataFrame, kinds: dict[str, Kind], when: When
) -> When:  # fmt: skip
    """Add the date of times of day, and how these are written."""
    if when.time not in kinds:
        return when  # whoever looks for the column says that it is not there
    date = when.date
    number = _number_clock(first[when.time]) if kinds[when.time] == "number" else ""
    if date is None and (kinds[when.time] == "clock" or number in ("hours", "hhmm")):
        dates = [n for n, kind in kinds.items() if kind == "date"]
        date = _picked(where, first, dates) if dates else None
    if date is None or date == when.time:
        return _with_half(first, When(when.time, None, when.half, "", when.zone))
    clock: Clock = number or "text"
    return _with_half(first, When(when.time, date, when.half, clock, when.zone))


def _with_half(first: pl.DataFrame, when: When) -> When:
    """Leave a column of AM and PM alone where the times say it themselves, or need none."""
    if when.half is None:
        return when
    times = first[when.time].cast(pl.String).drop_nulls().head(_SAMPLE)
    hours = times.str.extract(r"(?:^|[ T])(\d{1,2})[:hH.]\d{2}", 1).cast(pl.Int64, strict=False)
    said = times.str.contains(r"(?i)[ap]\.?\s?m\.?\s*$").any()
    if said or bool((hours > 12).any()):
        return When(when.time, when.date, None, when.clock, when.zone)
    return when


def _zone_column(first: pl.DataFrame, kinds: dict[str, Kind]) -> str | None:
    """Column of zones: by its cells, else by its heading."""
    found = []
    for name, kind in kinds.items():
        if kind not in ("zone", "number", "words"):
            continue
        cells = filled(first[name].cast(pl.String, strict=False))
        if cells.is_empty():
            continue
        words = heading_words(name)
        named = sounds_like_zone(name) or (
            ("offset" in words and says_offsets(cells))
            or (not _ZONES.isdisjoint(words) and says_zones(cells, open_too=True))
        )  # fmt: skip
        if named or kind == "zone":
            found.append((not named, name))
    return min(found)[1] if found else None


def _picked(where: str, first: pl.DataFrame, names: Sequence[str]) -> str:
    """The one of several columns of moments that tells when a reading was taken."""
    left = [n for n in names if first[n].n_unique() > 1 or first.height < 3] or list(names)
    counts = {n: first.height - _empty(first[n]) for n in left}
    most = max(counts.values(), default=0)
    left = [n for n in left if counts[n] >= _SPARSE * most] or left
    if len(left) == 1 or _alike(first, left):
        return left[0]
    told = [n for n in left if (s := heading_zone(n)) and s.zone not in (LOCAL, OPEN)]
    locals_ = [n for n in left if (s := heading_zone(n)) and s.zone == LOCAL]
    if len(told) == 1 and len(locals_) == len(left) - 1:
        return told[0]
    sampled = [n for n in left if says_sampling(n)]
    if len(sampled) == 1:
        return sampled[0]
    raise _asked(where, first, left)


def _empty(column: pl.Series) -> int:
    if column.dtype != pl.String:
        return column.null_count()
    return int((column.fill_null("").str.strip_chars() == "").sum())


def _alike(first: pl.DataFrame, names: Sequence[str]) -> bool:
    """Whether columns say the same in every row."""
    one = first[names[0]]
    return all(first[n].dtype == one.dtype and (first[n].eq_missing(one)).all() for n in names[1:])


def _asked(where: str, first: pl.DataFrame, names: Sequence[str]) -> DataError:
    """Build the question which of several columns tells when readings were taken."""
    row = first.select(names).drop_nulls().head(1).rows()
    cells = row[0] if row else [""] * len(names)
    pairs = list(zip(names, cells, strict=True))[:3]
    ways = joined(said(" or "), [f'"{shown(n, 40)}" ("{shown(str(c), 30)}")' for n, c in pairs])
    return DataError(
        said("The time of a reading can be that of column {ways}: they differ.", ways=ways),
        where,
        said(
            'Say which: time_column = "{name}" (or the other), with date_column where the '
            "date stands apart, in the [[exports.layout]] of this kind of file; a column that "
            "tells when results were entered is not it.",
            name=shown(names[0], 40),
        ),
        [
            Answer({"time_column": n}, said('as the column "{n}" says', n=shown(n, 40)))
            for n in names
        ],
    )


def joined_time(frame: pl.DataFrame, at: Stamped) -> pl.DataFrame:
    """Rows whose times are whole moments, made of their parts where these stand apart."""
    if at.date is None and at.half is None:
        return frame
    text = pl.col(at.time).cast(pl.String).str.strip_chars()
    if at.date is not None:
        day = pl.col(at.date).cast(pl.String).str.strip_chars()
        day = day.str.replace(r"[ T]\d{1,2}:\d{2}.*$", "")
        text = pl.concat_str(day, _clock_text(text, at.clock), separator=" ")
    if at.half is not None:
        half = pl.col(at.half).cast(pl.String).str.to_uppercase().str.replace_all(r"[^APM]", "")
        text = pl.concat_str(text, half, separator=" ")
    return frame.with_columns(text.alias(at.time))


def _clock_text(text: pl.Expr, clock: Clock) -> pl.Expr:
    """Times of day as hours, a colon and minutes."""
    whole = text.str.replace(r"\.0+$", "")
    if clock == "hours":
        return whole.str.replace(r"^(\d{1,2})$", "$1:00")
    if clock == "hhmm":
        return whole.str.zfill(4).str.replace(r"^(\d{2})(\d{2})$", "$1:$2")
    return (
        text.str.replace(r"^(\d{1,2})\s*[hH]\s*(\d{2})$", "$1:$2")
        .str.replace(r"^(\d{1,2})\s*[hH]$", "$1:00")
        .str.replace(r"\s*(?:[hH]|Uhr)$", "")
    )


def whole_rest(rest: Iterable[pl.DataFrame], at: Stamped) -> Iterable[pl.Series]:
    """Moments of later rows as one column."""
    return (joined_time(frame, at)[at.time] for frame in rest)
