"""Which columns of a table tell the quality of its readings, and what their words mean.

Columns are found by their headings in five languages, by standing beside a tag, and by what is in
them. What all rows of the first batch show is decided here; a later word that is not understood is
asked about where it comes (``pipeline.exports.values``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.cells import (
    Judge,
    column_judge,
    given_judge,
    heading_says,
    is_of_remarks,
    looks_like_quality,
    may_be_flags,
    word_meaning,
)
from pipeline.files import EXTRA, SHORT, shown
from pipeline.layouts.headings import split_heading
from pipeline.layouts.kinds import sounds_like_zone
from pipeline.layouts.layout import Plan, Quality
from pipeline.mill import ExportLayout

#: A column of more different texts than this is no column of quality (estimate).
_MOST_WORDS: Final = 60
_MOST_TOLD: Final = 12
#: Rows looked at first; a word that comes later is asked about where it comes.
_SAMPLE: Final = 100_000
_UNNAMED: Final = "_duplicated_"


class QualityFinder:
    """Finds the columns of quality of one table.

    Parameters
    ----------
    where : str
        For messages.
    first : polars.DataFrame
        The first rows.
    rest : iterable of polars.DataFrame
        The rows after them; looked at only where the first hold no word at all.
    layout : ExportLayout or None
    tags : collection of str
        Tags of the mill.
    """

    def __init__(
        self,
        where: str,
        first: pl.DataFrame,
        rest: Iterable[pl.DataFrame],
        layout: ExportLayout | None,
    ) -> None:
        self._where, self._first, self._rest = where, first, rest
        self._layout = layout or ExportLayout(name="as found")

    def found(self, plan: Plan, called: Mapping[str, str]) -> tuple[Quality, ...]:
        """Columns of quality of a table.

        Parameters
        ----------
        plan : Plan
        called : mapping of str to str
            Tag of the mill that each column of a wide table holds; empty for other columns.

        Raises
        ------
        DataError
            A column can be read in two ways.
        """
        given = self._layout.model_fields_set
        if "quality_column" in given and self._layout.quality_column is not None:
            name = self._layout.quality_column.strip()
            return self._quality([(name, "")], name, plan) if name else ()
        if plan.shape == "long":
            return self._of_long(plan)
        return self._of_wide(plan, called)

    # Long -------------------------------------------------------------------------------------

    def _of_long(self, plan: Plan) -> tuple[Quality, ...]:
        used = {*_of_moments(plan), plan.tag, plan.value, plan.unit, *plan.tag_columns}
        used |= set(self._layout.ignore_columns)
        found: list[Quality] = []
        for name in self._others(used):
            title = plan.tag_names.get(name, name) if _UNNAMED in name else name
            says = heading_says(title)
            # A flag under a heading that says nothing may be set far down: all rows are looked at.
            rows = self._first if says is None else self._first.head(_SAMPLE)
            seen = _counts(rows, name, plan.value or "")
            words = {text for text in seen if text.strip()}
            fits = self._is_quality(seen, title) or may_be_flags(seen)
            if says is None and not (fits and len(words) <= _MOST_WORDS):
                continue
            if says in ("good", "bad") and (
                len(words) > _MOST_WORDS or any(map(_is_decimal, words))
            ):
                continue  # a measure of its own, such as the error of a result
            found += self._quality([(name, "")], title, plan)
        return tuple(found)

    # Wide -------------------------------------------------------------------------------------

    def _of_wide(self, plan: Plan, called: Mapping[str, str]) -> tuple[Quality, ...]:
        if self._layout.quality_columns:
            return self._as_described(plan, called)
        columns = [name for name in called if called[name]]
        used = {*_of_moments(plan), *columns, *plan.tag_columns, *self._layout.ignore_columns}
        known = {called[name]: name for name in columns}
        beside: dict[str, list[tuple[str, str]]] = {}
        bare: list[str] = []
        for name in self._others(used):
            title = plan.tag_names.get(name, name)
            split = split_heading(title, known) or split_heading(name, known)
            seen = self._seen(name, "")
            fits = self._is_quality(seen, title)
            if split and (heading_says(split.beside) or fits):
                beside.setdefault(split.beside, []).append((name, known[split.tag]))
            elif (heading_says(title) and not (title and self._is_other_tag(seen, title))) or fits:
                bare.append(name)
        found = [
            q for heading, pairs in beside.items() for q in self._quality(pairs, heading, plan)
        ]
        return (*found, *self._bare(bare, columns, plan))

    def _bare(self, bare: Sequence[str], columns: Sequence[str], plan: Plan) -> list[Quality]:
        """Columns of quality that name no tag: one beside each tag, or one for the row."""
        if not bare:
            return []
        order = [name for name in self._first.columns if name != EXTRA]
        left = {name: order[order.index(name) - 1] for name in bare}
        title = plan.tag_names.get(bare[0], bare[0])
        if len(bare) == len(columns) and set(left.values()) == set(columns):
            return list(self._quality([(name, left[name]) for name in bare], title, plan))
        if len(bare) == 1 and (order[-1] == bare[0] or left[bare[0]] in (plan.time, plan.date)):
            return list(self._quality([(bare[0], "")], title, plan))
        told = ", ".join(f'"{shown(name) or "(no heading)"}"' for name in bare[:6])
        raise DataError(
            said(
                "Columns of quality ({told}) can be those of the tag before them or of the whole "
                "row.",
                told=told,
            ),
            self._where,
            said(
                'Say whose they are: quality_columns = "{tag}.quality" with the headings as they '
                "stand, quality_column for one that judges the whole row, or ignore_columns, in "
                "the [[exports.layout]] of this kind of file."
            ),
        )

    def _as_described(self, plan: Plan, called: Mapping[str, str]) -> tuple[Quality, ...]:
        """Columns that the mill's description names, by their pattern."""
        found: list[Quality] = []
        for pattern in self._layout.quality_columns:
            heading = pattern.replace("{tag}", " ").strip(" ._-")
            if "{tag}" not in pattern:
                pairs = [(pattern, "")] if pattern in self._first.columns else []
            else:
                wanted = {
                    pattern.replace("{tag}", tag): name for name, tag in called.items() if tag
                }
                pairs = [(c, wanted[c]) for c in self._first.columns if c in wanted]
            if not pairs:
                columns = ", ".join(f'"{shown(name)}"' for name in self._first.columns[:12])
                raise DataError(
                    said(
                        'No column is called as quality_columns = "{pattern}" says.',
                        pattern=shown(pattern),
                    ),
                    said("{where}\nits columns: {columns}", where=self._where, columns=columns),
                    said("Correct quality_columns in the [[exports.layout]] of this kind of file."),
                )
            found += self._quality(pairs, heading, plan)
        return tuple(found)

    def _is_quality(self, seen: Mapping[str, int], title: str) -> bool:
        """Whether what is in a column is quality; of remarks, whether one of them says bad."""
        if is_of_remarks(title):
            return any(word_meaning(text) in ("bad", "uncertain") for text in seen)
        return len(seen) <= _MOST_WORDS and looks_like_quality(seen)

    def _is_other_tag(self, seen: Mapping[str, int], title: str) -> bool:
        """Whether a column called like quality holds numbers of its own."""
        numbers = [text for text in seen if text.strip() and _is_decimal(text)]
        return heading_says(title) != "quality" and len(numbers) > _MOST_WORDS // 2

    # Both -------------------------------------------------------------------------------------

    def _others(self, used: set[str | None]) -> list[str]:
        """Columns that may hold words and have no other meaning."""
        kinds = self._first.schema
        return [
            name
            for name, kind in kinds.items()
            if name not in used
            and name not in (EXTRA, SHORT)
            and not sounds_like_zone(name)
            and (kind in (pl.String, pl.Boolean) or kind.is_integer())
        ]

    def _quality(
        self, pairs: Sequence[tuple[str, str]], heading: str, plan: Plan
    ) -> tuple[Quality, ...]:
        """Columns called alike, judged by what all of them show together."""
        column = pairs[0][0]
        seen = _together([self._first.head(_SAMPLE)], pairs, plan)
        try:
            empty = not any(text.strip() for text in seen)
            judge = None if empty else self._judge(column, heading, seen)
        except DataError:
            judge = None
        if judge is None:  # what a part leaves open, the whole may show
            seen = _together([self._first], pairs, plan)
            if not any(text.strip() for text in seen):
                seen = _together(chain([self._first], self._rest), pairs, plan)
            judge = self._judge(column, heading, seen)
        told = sorted(seen.items(), key=lambda item: (-item[1], item[0]))[:_MOST_TOLD]
        return tuple(Quality(name, of, judge, tuple(told)) for name, of in pairs)

    def _judge(self, column: str, heading: str, seen: Mapping[str, int]) -> Judge:
        layout, given = self._layout, self._layout.model_fields_set
        if given & {"good_words", "bad_words"}:
            good = layout.good_words if "good_words" in given else ()
            return given_judge(
                good, layout.uncertain_words, layout.bad_words, good_given="good_words" in given
            )
        uncertain = layout.uncertain_words if "uncertain_words" in given else ()

        def row_with(text: str) -> str:
            rows = self._first.filter(pl.col(column).cast(pl.String).fill_null("") == text)
            cells = rows.drop(EXTRA, strict=False).head(1).rows()
            return " | ".join(shown(str(c))[:24] if c is not None else "" for r in cells for c in r)

        titled = heading if heading_says(heading) else column
        return column_judge(
            f"{self._where}", titled, dict(seen), cell=row_with, uncertain=uncertain
        )

    def _seen(self, name: str, value: str) -> dict[str, int]:
        return _counts(self._first.head(_SAMPLE), name, value)


def _together(
    frames: Iterable[pl.DataFrame], pairs: Sequence[tuple[str, str]], plan: Plan
) -> dict[str, int]:
    """How often each text comes in columns called alike."""
    seen: dict[str, int] = {}
    for frame in frames:
        for name, of in pairs:
            for text, count in _counts(frame, name, of or plan.value or "").items():
                seen[text] = seen.get(text, 0) + count
    return seen


def _counts(frame: pl.DataFrame, name: str, value: str) -> dict[str, int]:
    """How often each text of a column comes beside a value; "" for an empty cell."""
    cells = frame.lazy()
    if value and value in frame.columns and value != name:
        held = pl.col(value).is_not_null()
        if frame.schema[value] == pl.String:
            held &= pl.col(value).str.contains(r"\d")  # no reading, or headings that stand again
        cells = cells.filter(held)
    # Counted before they are tidied: words are few, and cells many.
    counted = cells.group_by(pl.col(name).alias("q")).len().collect()
    tidy = pl.col("q").cast(pl.String).fill_null("").str.strip_chars()
    counted = counted.group_by(tidy).agg(pl.col("len").sum()).filter(pl.col("q") != name)
    return dict(counted.sort("len", "q", descending=[True, False]).head(1000).iter_rows())


def _is_decimal(text: str) -> bool:
    return any(c in text for c in ".,") and any(c.isdigit() for c in text)


def without_qualities(plan: Plan, qualities: tuple[Quality, ...]) -> Plan:
    """Plan with its columns of quality, which are no tags."""
    columns = {quality.column for quality in qualities}
    tags = tuple(tag for tag in plan.tags if tag not in columns)
    return replace(plan, qualities=qualities, tags=tags)


def _of_moments(plan: Plan) -> set[str | None]:
    """Columns of times, dates and zones."""
    return {plan.time, plan.date, plan.half, plan.zone, *(time for time, _ in plan.pairs)}
