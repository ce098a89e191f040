"""Which column holds what: taken from the mill's layouts, else worked out from the file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal

import polars as pl

from pipeline.config_models import ExportLayout
from pipeline.errors import DataError

_TIME_NAMES: Final = (
    "ts_utc",
    "time",
    "timestamp",
    "datetime",
    "date_time",
    "date/time",
    "ts",
    "sampled",
    "sampled_at",
    "date",
    "zeit",
    "zeitpunkt",
    "datum",
    "fecha",
)
_TAG_NAMES: Final = (
    "tag",
    "point_analyte",
    "point",
    "signal",
    "sensor",
    "series",
    "variable",
    "name",
)
_VALUE_NAMES: Final = ("value", "result", "reading", "measurement", "wert", "valor")
_QUALITY_NAMES: Final = ("quality", "status", "state", "validity")

#: ISO 8601 and its common shortenings; fractions of a second are optional in all of them.
_ISO: Final = ("%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%d %H:%M", "%Y-%m-%d")
#: Local ways of writing a moment, each set read as a whole; the two slashed ones exclude
#: each other and are told apart by days above twelve.
_DOTTED: Final = ("%d.%m.%Y %H:%M:%S%.f", "%d.%m.%Y %H:%M")
_YEAR_SLASHED: Final = ("%Y/%m/%d %H:%M:%S%.f", "%Y/%m/%d %H:%M")
_DAY_SLASHED: Final = ("%d/%m/%Y %H:%M:%S%.f", "%d/%m/%Y %H:%M")
_MONTH_SLASHED: Final = (
    "%m/%d/%Y %H:%M:%S%.f",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M:%S %p",
    "%m/%d/%Y %I:%M %p",
)
_WAYS: Final = (_ISO, _DOTTED, _YEAR_SLASHED, _DAY_SLASHED, _MONTH_SLASHED)
_DEFAULTS: Final = ExportLayout(name="as found")


@dataclass(frozen=True, slots=True)
class Plan:
    """How to read one file, with nothing left open.

    Attributes
    ----------
    shape : {"long", "wide"}
    time : str
        Column of times.
    tag, value, quality : str or None
        Columns of a long file; quality may be absent.
    tags : tuple of str
        Columns of a wide file that are tags (everything named but the time).
    time_formats : tuple of str
        strptime formats tried in turn on times written as text.
    time_zone : str or None
        Zone of times written without one; None is the mill's.
    decimal : str
    good_words, no_result_words : frozenset of str
        In small letters.
    """

    shape: Literal["long", "wide"]
    time: str
    tag: str | None
    value: str | None
    quality: str | None
    tags: tuple[str, ...]
    time_formats: tuple[str, ...]
    time_zone: str | None
    decimal: str
    good_words: frozenset[str]
    no_result_words: frozenset[str]


def layout_for(path: Path, layouts: Iterable[ExportLayout]) -> ExportLayout | None:
    """First layout whose pattern fits the file's name, with or without a trailing ``.gz``."""
    name = path.name.casefold()
    names = (name, name.removesuffix(".gz"))
    for layout in layouts:
        if any(fnmatchcase(n, layout.match.casefold()) for n in names):
            return layout
    return None


def plan_for(path: Path, first: pl.DataFrame, layout: ExportLayout | None) -> Plan:
    """Decide how to read a file from its layout and its first rows.

    Raises
    ------
    DataError
        A column is not there or cannot be guessed; dates that can be read in two ways.
    """
    given = layout or _DEFAULTS
    names = first.columns
    time = _column(path, names, given.time_column, _TIME_NAMES, "time_column", "times")
    tag = _find(path, names, given.tag_column, _TAG_NAMES, "tag_column")
    value = _find(path, names, given.value_column, _VALUE_NAMES, "value_column")
    shape = layout.shape if layout else ("long" if tag and value else "wide")
    tags: tuple[str, ...] = ()
    if shape == "wide":
        tag = value = quality = None
        tags = tuple(n for n in names if n != time and not _is_unnamed(n))
    else:
        tag = tag or _column(path, names, None, _TAG_NAMES, "tag_column", "tags")
        value = value or _column(path, names, None, _VALUE_NAMES, "value_column", "values")
        quality = _find(path, names, given.quality_column, _QUALITY_NAMES, "quality_column")
    return Plan(
        shape=shape,
        time=time,
        tag=tag,
        value=value,
        quality=quality,
        tags=tags,
        time_formats=(given.time_format,)
        if given.time_format
        else _time_formats(path, first[time]),
        time_zone=given.time_zone,
        decimal=given.decimal if layout else _decimal(first, [value] if value else tags),
        good_words=frozenset(word.casefold() for word in given.good_words),
        no_result_words=frozenset(word.casefold() for word in given.no_result_words),
    )


def plain_time(times: pl.Expr) -> pl.Expr:
    """Time text in one spelling: a blank between date and clock, offsets as ``+00:00``."""
    return (
        times.str.strip_chars()
        .str.replace(r"^(\d{4}-\d{2}-\d{2})[Tt]", "$1 ")
        .str.replace(r"\s*[Zz]$", "+00:00")
        .str.replace(r"(:\d{2}(?:\.\d+)?)\s*([+-]\d{2}):?(\d{2})$", "$1$2:$3")
    )


def _find(
    path: Path, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str
) -> str | None:
    """Column named in the layout, else the first with a usual name, else None."""
    if wanted is not None:
        if wanted.strip() in names:
            return wanted.strip()
        raise _no_column(path, names, f'The export has no column "{wanted}".', key)
    known = {name.casefold().replace(" ", "_"): name for name in reversed(names)}
    return next((known[name] for name in usual if name in known), None)


def _column(
    path: Path, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str, what: str
) -> str:
    """Find a column that must be there."""
    found = _find(path, names, wanted, usual, key)
    if found is None:
        raise _no_column(path, names, f"No column of {what} could be found in the export.", key)
    return found


def _no_column(path: Path, names: Sequence[str], what: str, key: str) -> DataError:
    """Build the error for a column that is not there, listing those that are."""
    plain = ("".join(c if c.isprintable() else " " for c in name[:40]) for name in names[:12])
    shown = ", ".join(f'"{name}"' for name in plain) + (" ..." if len(names) > 12 else "")
    return DataError(
        what,
        f"{path}\nits columns: {shown}",
        f"Name the column: {key} in the [[exports.layout]] of this kind of file.",
    )


def _is_unnamed(name: str) -> bool:
    """Tell whether a column is a bare row counter, whose heading was left empty."""
    return not name or name.startswith("_duplicated_")


def _time_formats(path: Path, times: pl.Series) -> tuple[str, ...]:
    """Formats that read the first times best."""
    if times.dtype != pl.String:
        return ()
    sample = times.drop_nulls().head(100_000).to_frame("t").select(plain_time(pl.col("t")))["t"]
    scores = [(_readable(sample, way), way) for way in _WAYS]
    best = max(score for score, _ in scores)
    ways = [way for score, way in scores if score == best]
    if best and _DAY_SLASHED in ways and _MONTH_SLASHED in ways:
        raise DataError(
            f'Dates such as "{sample[0]}" can be read as day/month or as month/day.',
            str(path),
            'Say which: time_format = "%d/%m/%Y %H:%M" (or "%m/%d/%Y %H:%M") in the '
            "[[exports.layout]] of this kind of file.",
        )
    return ways[0] if best else _ISO


def _readable(sample: pl.Series, way: Sequence[str]) -> int:
    """How many of the times one set of formats reads, offset or none."""
    clock = sample.str.replace(r"[+-]\d{2}:\d{2}$", "")
    read = pl.Series([False]).new_from_index(0, len(clock))
    for pattern in way:
        read |= clock.str.to_datetime(pattern, strict=False, time_unit="us").is_not_null()
    return int(read.sum())


def _decimal(first: pl.DataFrame, columns: Sequence[str]) -> str:
    """Decimal mark that more of the first values use."""
    text = [name for name in columns if first.schema[name] == pl.String]
    if not text:
        return "."
    values = first.head(20_000).select(text)
    commas, points = (
        sum(values.select(pl.all().str.contains(pattern).sum()).row(0))
        for pattern in (r"^\s*<?[+-]?[\d.]*\d,\d+\s*$", r"^\s*<?[+-]?\d+\.\d+\s*$")
    )
    return "," if commas > points else "."
