"""Where formulas were carried on beyond their stated range, in words and by vessel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import polars as pl

from features.kinetics import DESTRUCTION, INVERSION
from pipeline.report.view import ReportView
from pipeline.words import figure, joined, said, section_words, stored, unit_words

#: Of less of a loss than this nobody needs to hear at five in the morning [%] (judgement).
_LEAST_PCT: Final = 0.1
_OF: Final = {DESTRUCTION: said("of the reducing sugars destroyed")}


@dataclass(frozen=True, slots=True)
class BeyondRow:
    """One vessel and input."""

    where: str
    what: str
    met: str
    stated: str
    minutes: str
    share: str


def beyond_rows(view: ReportView) -> list[BeyondRow]:
    """Rows by vessel, the greatest share of a loss first."""
    if view.beyond is None:
        return []
    return [_row(row, view) for row in _sorted(view.beyond).to_dicts()]


def beyond_line(view: ReportView) -> str:
    """One sentence for a page with little room; empty where next to nothing lay outside."""
    frame = view.beyond
    if frame is None:
        return ""
    rows = _sorted(frame).filter(pl.col("formula") == INVERSION).to_dicts()
    worst = [row for row in rows if _pct(row) >= _LEAST_PCT]
    if not worst:
        return ""
    named = [
        said(
            "{where} {pct} % ({met})",
            where=_row(r, view).where,
            pct=figure(_pct(r), ".2g"),
            met=_row(r, view).met,
        )
        for r in worst[:2]
    ]
    more = said(" and {worst} more", worst=len(worst) - 2) if len(worst) > 2 else ""
    return said(
        "Part of the loss is a rougher guess, made outside the ranges for which "
        "the kinetics are stated: {named}{more}.",
        named=joined("; ", named),
        more=more,
    )


def _sorted(frame: pl.DataFrame) -> pl.DataFrame:
    share = pl.col("beyond_kg") / pl.col("all_kg")
    return frame.sort(share.fill_nan(0.0), "minutes", descending=True, nulls_last=True)


def _pct(row: dict[str, Any]) -> float:
    return 100.0 * row["beyond_kg"] / row["all_kg"] if row["all_kg"] else 0.0


def _row(row: dict[str, Any], view: ReportView) -> BeyondRow:
    kinds = {} if view.station is None else {v.name: v.kind for v in view.station.vessels}
    unit = said(" {unit_words}", unit_words=unit_words(row["unit"])).rstrip()
    pct = _pct(row)
    share = (
        said("under {bound} %", bound=figure(0.01, ".2f"))
        if pct < 0.01
        else said("{pct} %", pct=figure(pct, ".2g"))
    )
    of = _OF.get(row["formula"], said("of the station's loss"))
    return BeyondRow(
        where=section_words(row["zone"], kinds),
        what=joined(", ", (stored(row["formula"]), stored(row["input"]))),
        met=said(
            "{seen_low} to {seen_high}{unit}",
            seen_low=figure(row["seen_low"], ".3g"),
            seen_high=figure(row["seen_high"], ".3g"),
            unit=unit,
        ),
        stated=said(
            "{low} to {high}{unit}",
            low=figure(row["low"], "g"),
            high=figure(row["high"], "g"),
            unit=unit,
        ),
        minutes=said(
            "{minutes} of {of_minutes} min",
            minutes=figure(row["minutes"], ","),
            of_minutes=figure(row["of_minutes"], ","),
        ),
        share=said("{share} {of}", share=share, of=of),
    )
