"""What a loss is counted from, defined once; and how an amount above the targets is written.

Every page leads with the loss above the *unavoidable*. It is the sum of what the findings count,
each above the *usual*, and of what lies in no finding.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pipeline.base import Measured, Said, amount, said
from pipeline.words.rounding import MISSING, known, places, plain

UNAVOIDABLE: Final = said(
    "Unavoidable: what the same sucrose loses with feed and vessels at their targets."
)
USUAL: Final = said("Usual: what this mill loses in quiet hours, slowly changing.")
ABOVE_USUAL: Final = said("Findings count what was lost above the usual")
#: The rest of a total that no finding holds.
NO_FINDING: Final = said("In no finding")
#: What that rest is made of.
NO_FINDING_WHY: Final = said(
    "what the usual loses above the unavoidable, scatter, and losses too small to stand out"
)
DEFINED: Final = said(
    "{unavoidable} {usual} {above_usual}; the total counts from the "
    "unavoidable, and what lies in no finding is the rest: {no_finding_why}.",
    unavoidable=UNAVOIDABLE,
    usual=USUAL,
    above_usual=ABOVE_USUAL,
    no_finding_why=NO_FINDING_WHY,
)
_BETTER: Final = said("better")
#: What follows the amount of a headline, either way.
_LOST: Final = said("of sucrose lost above the unavoidable")
_DID_BETTER: Final = said("than at the targets")


def headline_words(told: str) -> str:
    """What follows an amount that `against_targets` wrote, at the head of a page."""
    return _DID_BETTER if told.partition(" (")[0].endswith(_BETTER) else _LOST


def against_targets(value: object, low: object, high: object) -> str:
    """Write a loss above the unavoidable [t]; one below it is so much better than at the targets.

    ``against_targets(0.07, -0.09, 0.24)`` is ``0.07 t (0.09 better to 0.24)``, and
    ``against_targets(-0.49, -0.7, -0.28)`` is ``0.49 t better (0.28 to 0.70)``.
    """
    text = _tonnes_against(value, low, high, "t")
    return Said(text, Measured(text, _tonnes_against, value, low, high, "t"))


def _tonnes_against(value: object, low: object, high: object, unit: str) -> str:
    return _against(value, low, high, lambda sum_: sum_ + said(" {unit}", unit=unit), finest=6)


def worth_against_targets(value: object, low: object, high: object, currency: str) -> str:
    """Write the worth of a loss above the unavoidable, as `against_targets` writes its tonnes."""
    return _against(value, low, high, lambda sum_: amount(currency, sum_), finest=0)


def share_against_targets(value: object, low: object, high: object) -> str:
    """Write a loss above the unavoidable as a share of the sucrose fed [%]."""
    return _against(value, low, high, lambda share: share + Said(" %"), finest=6)


def _against(
    value: object, low: object, high: object, told: Callable[[str], str], finest: int
) -> str:
    middle, bottom, top = known(value), known(low), known(high)
    if middle is None:
        return MISSING
    decimals = min(finest, places(middle, bottom, top))
    better = round(middle, decimals) < 0
    text = told(plain(abs(middle), decimals))
    if better:
        text = said("{amount} better", amount=text)
    if bottom is None or top is None:
        return said("{text} (no interval)", text=text)
    if better and round(top, decimals) <= 0:
        return said(
            "{text} ({top} to {bottom})",
            text=text,
            top=plain(-top, decimals),
            bottom=plain(-bottom, decimals),
        )
    ends = (_end(bottom, decimals), _end(top, decimals, lost=better))
    return said("{text} ({ends} to {ends2})", text=text, ends=ends[0], ends2=ends[1])


def _end(value: float, decimals: int, *, lost: bool = False) -> str:
    """One end of an interval; what is lost is named where the middle is better."""
    if round(value, decimals) < 0:
        return said("{value} {better}", value=plain(-value, decimals), better=_BETTER)
    return plain(value, decimals) + (said(" lost") if lost else "")
