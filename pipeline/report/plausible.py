"""A chemist's check of the figures in words: each beside what the trade takes for usual."""

from __future__ import annotations

from typing import Final

from models.account import (
    BAD_INVERSION_PCT,
    USUAL_DESTRUCTION_PCT_H,
    USUAL_INVERSION_PCT,
    USUAL_PH_FALL,
    Band,
    Plausibility,
)
from pipeline.words import quantity, tonnes

#: A fall of pH so far from the usual is worth a word (judgement).
_ODD_FALL: Final = 0.25
#: So few samples make a mean whose error is hardly known (judgement).
_FEW: Final = 3


def plausible_lines(held: Plausibility | None) -> list[str]:
    """Lines of the check, each complete; what cannot be known is named with what is missing."""
    if held is None:
        return []
    return [_inversion(held), _fall(held), _destruction(held), _undetermined(held.band)]


def plausible_short(held: Plausibility | None) -> str:
    """Tell the check in one sentence, and in others what is odd; empty where nothing is known."""
    if held is None:
        return ""
    parts = [_short_inversion(held), _short_fall(held), _short_destruction(held), _short(held.band)]
    told = "; ".join(part for part in parts if part)
    odd = " ".join(part for part in (_odd_inversion(held), _odd_fall(held)) if part)
    return f"{told[:1].upper()}{told[1:]}. {odd}".strip() if told else ""


def _short_inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    if held.inverted_pct is None:
        return ""
    usual = f"usual {low:g} to {high:g}, bad {BAD_INVERSION_PCT:g}"
    return f"inversion across clarification {_inverted(held)}, {usual}"


def _short_fall(held: Plausibility) -> str:
    if held.ph_fall is None:
        return ""
    way = f"({held.ph_limed:.2f} to {held.ph_clear:.2f})"
    return f"pH falls by {held.ph_fall:.2f} in the settler {way}, usual about {USUAL_PH_FALL:g}"


def _short_destruction(held: Plausibility) -> str:
    if held.destroyed_pct_h is None or held.ph_settler is None:
        return ""
    at_7, at_8 = USUAL_DESTRUCTION_PCT_H
    return (
        f"reducing sugars go at {held.destroyed_pct_h:.1f} %/h there (pH {held.ph_settler:.2f}), "
        f"usual {at_7:g} near pH 7 and {at_8:g} at pH 8"
    )


def _short(band: Band | None) -> str:
    if band is None:
        return ""
    size = f"{_rounded(band.pct)} % ({_tonnes(band.t)})"
    return f"errors of {_whose(band)} alone can make {size} of undetermined loss"


def _inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    usual = f"{low:g} to {high:g} % is usual, {BAD_INVERSION_PCT:g} % a bad case"
    if held.inverted_pct is None:
        return f"Inversion across clarification: not known, no loss could be worked out ({usual})."
    told = f"Inversion across clarification: {_inverted(held)}; {usual}. {_odd_inversion(held)}"
    return told.strip()


def _inverted(held: Plausibility) -> str:
    span = (held.inverted_low_pct, held.inverted_high_pct)
    told = quantity(held.inverted_pct or 0.0, *span, "%").replace(" (", " of the sucrose fed (", 1)
    return told if held.inverted_low_pct is None else f"{told[:-1]}, 90 % interval)"


def _odd_inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    if held.inverted_low_pct is not None and held.inverted_low_pct > high:
        return "More is inverted than usual, even at the low end."
    if held.inverted_high_pct is not None and held.inverted_high_pct < low:
        return "Less is inverted than usual, even at the high end: see whether a probe reads high."
    return ""


def _fall(held: Plausibility) -> str:
    usual = f"about {USUAL_PH_FALL:g} is usual"
    fall = held.ph_fall
    if fall is None:
        return f"Fall of pH across the settler: not known, a pH is not measured ({usual})."
    told = f"{fall:.2f} (from {held.ph_limed:.2f} to {held.ph_clear:.2f}); {usual}."
    return f"Fall of pH across the settler: {told} {_odd_fall(held)}".strip()


def _odd_fall(held: Plausibility) -> str:
    if held.ph_fall is None or abs(held.ph_fall - USUAL_PH_FALL) <= _ODD_FALL:
        return ""
    more = "more" if held.ph_fall > USUAL_PH_FALL else "less"
    return f"The pH falls clearly {more} than usual: compare both probes with grabs."


def _destruction(held: Plausibility) -> str:
    at_7, at_8 = USUAL_DESTRUCTION_PCT_H
    usual = f"{at_7:g} % near pH 7 and {at_8:g} % at pH 8, near 97 °C, is usual"
    if held.destroyed_pct_h is None or held.ph_settler is None:
        return f"Reducing sugars destroyed in the settler: not known ({usual})."
    return (
        f"Reducing sugars destroyed in the settler: {held.destroyed_pct_h:.1f} % an hour at "
        f"pH {held.ph_settler:.2f} and {held.temp_settler_degc:.1f} °C; {usual}."
    )


def _undetermined(band: Band | None) -> str:
    what = "Undetermined loss that errors alone can make"
    if band is None:
        return f"{what}: not known, pol and Brix were not both analysed before and after."
    few = ", which is few" if min(band.before, band.after) < _FEW else ""
    return (
        f"{what}: up to {_rounded(band.pct)} % of the pol fed either way ({_tonnes(band.t)}), by "
        f"{_whose(band)} with {band.before} samples before and {band.after} after{few}. An "
        "undetermined loss inside that may be none."
    )


def _whose(band: Band) -> str:
    return "sampling, pol and refractometer" if band.sampling_pct else "pol and refractometer"


def _tonnes(mass_t: float) -> str:
    return tonnes(mass_t, None, None).split(" (", 1)[0]


def _rounded(pct: float) -> str:
    return f"{pct:.2f}" if pct < 1.0 else f"{pct:.1f}"
