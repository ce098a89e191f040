"""Where formulas were carried on beyond their stated range, in words and by vessel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import polars as pl

from features.kinetics import DESTRUCTION, INVERSION
from pipeline.report.view import ReportView
from pipeline.words import section_words, unit_words

#: Of less of a loss than this nobody needs to hear at five in the morning [%] (judgement).
_LEAST_PCT: Final = 0.1
_OF: Final = {DESTRUCTION: "of the reducing sugars destroyed"}


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
    named = [f"{_row(r, view).where} {_pct(r):.2g} % ({_row(r, view).met})" for r in worst[:2]]
    more = f" and {len(worst) - 2} more" if len(worst) > 2 else ""
    return (
        "Part of the loss is a rougher guess, made outside the ranges for which the kinetics are "
        f"stated: {'; '.join(named)}{more}."
    )


def _sorted(frame: pl.DataFrame) -> pl.DataFrame:
    share = pl.col("beyond_kg") / pl.col("all_kg")
    return frame.sort(share.fill_nan(0.0), "minutes", descending=True, nulls_last=True)


def _pct(row: dict[str, Any]) -> float:
    return 100.0 * row["beyond_kg"] / row["all_kg"] if row["all_kg"] else 0.0


def _row(row: dict[str, Any], view: ReportView) -> BeyondRow:
    kinds = {} if view.station is None else {v.name: v.kind for v in view.station.vessels}
    unit = f" {unit_words(row['unit'])}".rstrip()
    pct = _pct(row)
    share = "under 0.01 %" if pct < 0.01 else f"{pct:.2g} %"
    of = _OF.get(row["formula"], "of the station's loss")
    return BeyondRow(
        where=section_words(row["zone"], kinds),
        what=f"{row['formula']}, {row['input']}",
        met=f"{row['seen_low']:.3g} to {row['seen_high']:.3g}{unit}",
        stated=f"{row['low']:g} to {row['high']:g}{unit}",
        minutes=f"{row['minutes']:,} of {row['of_minutes']:,} min",
        share=f"{share} {of}",
    )
