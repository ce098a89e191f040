"""Which columns name the series of a table: typed, or told by their cells and by the values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import polars as pl

from pipeline.files import is_moment
from pipeline.intake.apart import explained, joined, naming_columns, same_meaning
from pipeline.intake.columns import ColumnLook, texts
from pipeline.intake.headings import TAG_LIKE
from pipeline.intake.lab_words import analyte_of, says_composite, says_point
from pipeline.layouts import is_tag_heading

_LIKE_TAGS: Final = 0.6
#: So many different names, which explain so much of the values, are those of series (estimates).
_MANY: Final = 5
_LEVELS: Final = 0.6


def typed_naming(given: Mapping[str, object], rows: pl.DataFrame) -> tuple[str, ...]:
    """Columns that name the series, where a person said which."""
    named = given.get("tag_columns") or [given.get("tag_column")]
    return tuple(n for n in named if n in rows.columns)  # type: ignore[attr-defined]


def naming_of(
    rows: pl.DataFrame, moments: pl.Series, groups: list[ColumnLook], values: list[str]
) -> tuple[str, ...]:
    """Columns that name the series of a table."""
    likely = {g.name for g in groups if _may_name(g)}
    if len(values) == 1:
        # States of a plant are few; names of many series lie each at a level of its own.
        likely |= {
            g.name
            for g in groups
            if len(g.different) >= _MANY and explained(rows, [g.name], values) >= _LEVELS
        }
    naming = naming_columns(rows, moments, [g.name for g in groups], values, likely)
    return _with_kinds(groups, naming, rows)


def _may_name(look: ColumnLook) -> bool:
    return is_tag_heading(look.name) or like_tags(look) or says_points(look)


def like_tags(look: ColumnLook) -> bool:
    """Whether most cells of a column look like tags; an area before a tag is no sampling point."""
    like = sum(bool(TAG_LIKE.fullmatch(w)) and not is_moment(w) for w in look.different)
    return like >= _LIKE_TAGS * max(len(look.different), 1)


def is_analysis(value: str, groups: list[ColumnLook], naming: tuple[str, ...]) -> bool:
    """Whether the heading of the only values names an analysis that no column names."""
    told = [w for g in groups if g.name in naming for w in g.different]
    named = sum(analyte_of(w) is not None for w in told)
    return analyte_of(value) is not None and 2 * named <= len(told)


def says_points(look: ColumnLook) -> bool:
    """Whether most cells of a column name juices and the like, or analyses."""
    named = sum(says_point(w) or analyte_of(w) is not None for w in look.different)
    return 2 * named > len(look.different)


def _with_kinds(
    groups: list[ColumnLook], naming: tuple[str, ...], rows: pl.DataFrame
) -> tuple[str, ...]:
    """Add a column that says which samples were gathered over a day, where only some were."""
    for group in groups:
        said = [says_composite(w) for w in group.different]
        told = not naming or group.name in naming or same_meaning(rows, naming, group.name)
        if not told and any(said) and not all(said):
            return tuple(sorted((*naming, group.name), key=rows.columns.index))
    return naming


def words_of_series(
    rows: pl.DataFrame, groups: list[ColumnLook], naming: tuple[str, ...]
) -> dict[str, str]:
    """Descriptions: columns of words that say one thing of each series."""
    found: dict[str, list[str]] = {}
    key = joined(rows, naming)
    for group in groups:
        if group.name in naming or not same_meaning(rows, naming, group.name):
            continue
        pairs = pl.DataFrame({"key": key, "said": texts(rows[group.name])}).unique("key")
        for name, said in pairs.iter_rows():
            found.setdefault(name, []).append(said)
    return {name: " ".join(parts) for name, parts in found.items()}
