"""Causes of the week beside those of the week before, and how they add up to the headline."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final
from zoneinfo import ZoneInfo

from markupsafe import Markup

from pipeline.charts import bar
from pipeline.report.days import Tally, within
from pipeline.report.made_of import MadeOf, made_of
from pipeline.report.season_head import head_of, level_log_sd
from pipeline.report.view import Estimate, WeekView
from pipeline.words import (
    NO_FINDING,
    NO_FINDING_WHY,
    against_targets,
    count,
    day_span,
    percent,
    said,
    tonnes,
    words_of,
    worth_against_targets,
)

_WEEK: Final = timedelta(days=7)
_NONE: Final = said("none")


@dataclass(frozen=True, slots=True)
class CauseRow:
    """A cause of the week beside the week before; ``role``: part of the total, or the total."""

    name: str
    bar: Markup
    mass: str
    worth: str
    findings: str
    share: str
    before: str
    role: str


def cause_rows(view: WeekView, sums: Tally | None, before: Tally | None) -> list[CauseRow]:
    """Causes by tonnes, then what lies in no finding, then all together."""
    now, last = _made_of(view, sums, 0), _made_of(view, before, 1)
    earlier = {part.cause: part.lost for part in last.parts}
    found = [(part.cause, part.findings, part.lost) for part in now.parts]
    here = {cause for cause, _, _ in found}
    gone = [(c, 0, Estimate(0.0, 0.0, 0.0)) for c in earlier if c not in here]
    whole = now.found.value + max(0.0, now.rest_t or 0.0)
    longest = max([now.rest_t or 0.0, *(lost.value for _, _, lost in found)], default=0.0)
    rows = [
        CauseRow(
            words_of(cause).name,
            bar(lost.value, longest),
            tonnes(lost.value, lost.low, lost.high) if n else _NONE,
            _worth(view, lost) if n else "",
            count(n),
            percent(100 * lost.value / whole) if n else "",
            _before(earlier.get(cause)),
            "part" if n else "gone",
        )
        for cause, n, lost in [*found, *gone]
    ]
    if now.total is None or now.rest_t is None:
        return rows
    return [*rows, _rest(view, now, last, whole, longest), _total(view, now, last)]


def _made_of(view: WeekView, sums: Tally | None, weeks_before: int) -> MadeOf:
    first, last = (day - weeks_before * _WEEK for day in (view.first, view.last))
    found = within(view.known, *day_span(first, last, ZoneInfo(view.report.zone)))
    return made_of(found, None if sums is None else sums.total, level_log_sd(view.report))


def _worth(view: WeekView, held: Estimate) -> str:
    price = view.report.price_per_t
    bounds = (price * held.value, price * held.low, price * held.high)
    return worth_against_targets(*bounds, view.report.currency)


def _before(lost: Estimate | None) -> str:
    return _NONE if lost is None else head_of(tonnes(lost.value, lost.low, lost.high))


def _bare(mass_t: float | None) -> str:
    return said("not computed") if mass_t is None else head_of(against_targets(mass_t, None, None))


def _rest(view: WeekView, now: MadeOf, last: MadeOf, whole: float, longest: float) -> CauseRow:
    rest, price = now.rest_t or 0.0, view.report.price_per_t
    worth = worth_against_targets(rest * price, None, None, view.report.currency)
    return CauseRow(
        said(
            "{no_finding}: {no_finding_why}", no_finding=NO_FINDING, no_finding_why=NO_FINDING_WHY
        ),
        bar(rest, longest, hatched=True),
        _bare(rest),
        head_of(worth),
        "",
        percent(100 * rest / whole) if rest > 0 and whole > 0 else "",
        _bare(last.rest_t),
        "part",
    )


def _total(view: WeekView, now: MadeOf, last: MadeOf) -> CauseRow:
    total = now.total or Estimate(0.0, 0.0, 0.0)
    before = last.total
    return CauseRow(
        said("Above the unavoidable, all together"),
        Markup(""),
        against_targets(total.value, total.low, total.high),
        _worth(view, total),
        count(now.findings),
        "",
        said("not computed")
        if before is None
        else head_of(against_targets(before.value, before.low, before.high)),
        "total",
    )
