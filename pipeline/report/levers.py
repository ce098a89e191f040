"""Levers of a season as a report shows them: words, tonnes, worth, costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from pipeline.words import clean, figure, joined, money, plain, said, tonnes

#: Rows of a report; the command shows all.
MOST_ROWS: Final = 6
_NO_INTERVAL: Final = said(" (no interval)")
#: Lime and sugars that are told [t].
_TOLD_T: Final = 0.05
#: Changes of the settling margin that are told [%].
_TOLD_PCT: Final = 0.5


@dataclass(frozen=True, slots=True)
class LeverShown:
    """One step.

    Attributes
    ----------
    what : str
        In words.
    saved_t, low_t, high_t : float
        With its 90 % interval [t].
    certain : float
        Share of it that is certain, 0 to 1.
    value, net_value : float
        Worth, and worth less costs [currency].
    lime_t, sugars_t : float
        More lime, more reducing sugars destroyed [t].
    settling_pct : float or None
        Settling margin gained [%].
    """

    what: str
    saved_t: float
    low_t: float
    high_t: float
    certain: float
    value: float
    net_value: float
    lime_t: float
    sugars_t: float
    settling_pct: float | None


@dataclass(frozen=True, slots=True)
class SeasonLevers:
    """Levers of a season so far.

    Attributes
    ----------
    rows : tuple of LeverShown
        Best first.
    days : str
        Days they were worked out for, in words.
    ph : str
        Range of limed-juice pH to run at, in words; empty where it is not known.
    missing_weeks : int
    currency : str
    """

    rows: tuple[LeverShown, ...]
    days: str
    ph: str
    missing_weeks: int
    currency: str


@dataclass(frozen=True, slots=True)
class LeverRow:
    """One row, all words."""

    what: str
    saved: str
    certain: str
    worth: str
    costs: str


def lever_rows(levers: SeasonLevers | None, most: int = MOST_ROWS) -> list[LeverRow]:
    """Rows of the table, best first; none where nothing was worked out."""
    return [] if levers is None else [_row(r, levers.currency) for r in levers.rows[:most]]


def lever_lines(levers: SeasonLevers | None) -> list[str]:
    """What stands below the table."""
    if levers is None:
        return []
    lines = [levers.ph] if levers.ph else []
    if levers.missing_weeks:
        weeks = said("week") if levers.missing_weeks == 1 else said("weeks")
        lines.append(
            said(
                "{missing_weeks} {weeks} of the season not worked out yet: lostpol levers does.",
                missing_weeks=levers.missing_weeks,
                weeks=weeks,
            )
        )
    return [*lines, BASIS]


BASIS: Final = said(
    "Each step alone, over the season so far, for the same sucrose; they do "
    "not add up, and each counts from all that was lost, the unavoidable too."
    " In brackets: 90 % interval. Certain is the low end of the 90 % interval"
    " as a share of the saving. Worth is less lime and reducing sugars "
    "destroyed, which colour the juice; steam, scale and work are not in it. "
    "Set-points are changed by licensed and authorised people under site "
    "procedures and local codes."
)


def _row(row: LeverShown, currency: str) -> LeverRow:
    def bare(value: float) -> str:
        return money(value, None, None, currency).removesuffix(_NO_INTERVAL)

    costs = []
    if abs(row.lime_t) >= _TOLD_T:
        costs.append(said("lime {lime_t} t", lime_t=plain(row.lime_t, 1)))
    if abs(row.sugars_t) >= _TOLD_T:
        costs.append(said("reducing sugars {sugars_t} t", sugars_t=plain(row.sugars_t, 1)))
    if row.settling_pct is not None and abs(row.settling_pct) >= _TOLD_PCT:
        costs.append(
            said("settling margin {settling_pct} %", settling_pct=figure(row.settling_pct, "+.1f"))
        )
    return LeverRow(
        what=clean(row.what, 120),
        saved=tonnes(row.saved_t, row.low_t, row.high_t),
        certain=said("{certain} %", certain=figure(100.0 * row.certain, ".0f")),
        worth=bare(row.net_value),
        costs=joined(", ", costs) or said("none counted"),
    )
