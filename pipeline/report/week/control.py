"""The two control charts of the weekly review, with what they say in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.charts import Control, Drawing, Titled, control, multiplier_days, unexplained_days
from pipeline.report.view import ReportView
from pipeline.words import day_words, figure, joined, quantity, said

_Z90: Final = 1.645
_NAMED: Final = 6


@dataclass(frozen=True, slots=True)
class ControlWords:
    """A control chart and its reading in words."""

    name: str
    drawing: Drawing
    text: tuple[str, ...]
    moved: bool


def controls(view: ReportView) -> list[ControlWords]:
    """Control charts of the kinetic multiplier and of the unexplained loss; none without days."""
    if view.balance is None or view.balance.is_empty():
        return []
    made = [_unexplained(view, view.balance)]
    if view.multiplier is not None:
        made.insert(0, _multiplier(view, view.balance, view.multiplier.value))
    return made


def _multiplier(view: ReportView, balance: pl.DataFrame, fitted: float) -> ControlWords:
    titled = Titled(
        "multiplier",
        said("Kinetic multiplier by the laboratory [times the published rate]"),
        said(
            "Kinetic multiplier that each day's laboratory results ask for, beside the one fitted"
        ),
        view.known,
        ZoneInfo(view.zone),
    )
    judged = control(multiplier_days(balance, fitted), fitted, titled, view.tongue)
    first = said(
        "Dashed: {fitted}, as fitted to the whole season. Thick: mean of seven days.",
        fitted=figure(fitted, ".2f"),
    )
    moved = said(
        "It has moved away from the fitted one: volumes, meters or the laboratory"
        " may have changed since, and tonnes of these days are off by the same "
        "factor."
    )
    still = said("It cannot be told from the fitted one.")
    return ControlWords(
        said("Kinetic multiplier"),
        judged.drawing,
        (first, _last(judged, ""), moved if judged.moved else still, _marked(judged.marked)),
        judged.moved,
    )


def _unexplained(view: ReportView, balance: pl.DataFrame) -> ControlWords:
    titled = Titled(
        "unexplained",
        said("Unexplained between limed and clear juice [t a day]"),
        said("Loss that laboratory balances see and kinetics do not, by day"),
        view.known,
        ZoneInfo(view.zone),
    )
    judged = control(unexplained_days(balance), 0.0, titled, view.tongue)
    first = said(
        "What laboratory balances see between limed and clear juice and kinetics "
        "do not. No finding contains it. Thick: mean of seven days."
    )
    moved = said(
        "It stands away from zero: something is lost, or wrongly measured, that "
        "pH, temperature and time do not tell of."
    )
    still = said("It cannot be told from zero.")
    return ControlWords(
        said("Unexplained term"),
        judged.drawing,
        (
            first,
            _last(judged, said("t a day")),
            moved if judged.moved else still,
            _marked(judged.marked),
        ),
        judged.moved,
    )


def _last(judged: Control, unit: str) -> str:
    if judged.last is None:
        return said("No day has enough laboratory results.")
    mean, sd = judged.last
    held = quantity(mean, mean - _Z90 * sd, mean + _Z90 * sd, unit)
    return said("Last seven days: {held}.", held=held)


def _marked(days: Sequence[date]) -> str:
    if not days:
        return said("No day lies three of its standard errors away.")
    named = joined(", ", (day_words(day, days[-1].year) for day in days[-_NAMED:]))
    earlier = (
        said(" and {days} earlier ones", days=len(days) - _NAMED) if len(days) > _NAMED else ""
    )
    return said(
        "Three standard errors or more away: {named}{earlier}.", named=named, earlier=earlier
    )
