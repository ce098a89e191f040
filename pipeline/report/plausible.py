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
from pipeline.words import figure, joined, quantity, said, tonnes

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
    told = joined("; ", (part for part in parts if part))
    odd = joined(" ", (part for part in (_odd_inversion(held), _odd_fall(held)) if part))
    return (
        said("{told}{told2}. {odd}", told=told[:1].upper(), told2=told[1:], odd=odd).strip()
        if told
        else ""
    )


def _short_inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    if held.inverted_pct is None:
        return ""
    usual = said(
        "usual {low} to {high}, bad {bad_inversion_pct}",
        low=figure(low, "g"),
        high=figure(high, "g"),
        bad_inversion_pct=figure(BAD_INVERSION_PCT, "g"),
    )
    return said(
        "inversion across clarification {inverted}, {usual}", inverted=_inverted(held), usual=usual
    )


def _short_fall(held: Plausibility) -> str:
    if held.ph_fall is None:
        return ""
    way = said(
        "({ph_limed} to {ph_clear})",
        ph_limed=figure(held.ph_limed, ".2f"),
        ph_clear=figure(held.ph_clear, ".2f"),
    )
    return said(
        "pH falls by {ph_fall} in the settler {way}, usual about {usual_ph_fall}",
        ph_fall=figure(held.ph_fall, ".2f"),
        way=way,
        usual_ph_fall=figure(USUAL_PH_FALL, "g"),
    )


def _short_destruction(held: Plausibility) -> str:
    if held.destroyed_pct_h is None or held.ph_settler is None:
        return ""
    at_7, at_8 = USUAL_DESTRUCTION_PCT_H
    return said(
        "reducing sugars go at {destroyed_pct_h} %/h there (pH {ph_settler}), "
        "usual {at_7} %/h near pH 7 and {at_8} %/h at pH 8",
        destroyed_pct_h=figure(held.destroyed_pct_h, ".1f"),
        ph_settler=figure(held.ph_settler, ".2f"),
        at_7=figure(at_7, "g"),
        at_8=figure(at_8, "g"),
    )


def _short(band: Band | None) -> str:
    if band is None:
        return ""
    size = said("{rounded} % ({tonnes})", rounded=_rounded(band.pct), tonnes=_tonnes(band.t))
    return said(
        "errors of {whose} alone can make {size} of undetermined loss",
        whose=_whose(band),
        size=size,
    )


def _inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    usual = said(
        "{low} to {high} % is usual, {bad_inversion_pct} % a bad case",
        low=figure(low, "g"),
        high=figure(high, "g"),
        bad_inversion_pct=figure(BAD_INVERSION_PCT, "g"),
    )
    if held.inverted_pct is None:
        return said(
            "Inversion across clarification: not known, no loss could be worked out ({usual}).",
            usual=usual,
        )
    told = said(
        "Inversion across clarification: {inverted}; {usual}. {odd_inversion}",
        inverted=_inverted(held),
        usual=usual,
        odd_inversion=_odd_inversion(held),
    )
    return told.strip()


def _inverted(held: Plausibility) -> str:
    span = (held.inverted_low_pct, held.inverted_high_pct)
    told = quantity(held.inverted_pct or 0.0, *span, "%").replace(
        said(" ("), said(" of the sucrose fed ("), 1
    )
    return told if held.inverted_low_pct is None else said("{told}, 90 % interval)", told=told[:-1])


def _odd_inversion(held: Plausibility) -> str:
    low, high = USUAL_INVERSION_PCT
    if held.inverted_low_pct is not None and held.inverted_low_pct > high:
        return said("More is inverted than usual, even at the low end.")
    if held.inverted_high_pct is not None and held.inverted_high_pct < low:
        return said(
            "Less is inverted than usual, even at the high end: see whether a probe reads high."
        )
    return ""


def _fall(held: Plausibility) -> str:
    usual = said("about {usual_ph_fall} is usual", usual_ph_fall=figure(USUAL_PH_FALL, "g"))
    fall = held.ph_fall
    if fall is None:
        return said(
            "Fall of pH across the settler: not known, a pH is not measured ({usual}).", usual=usual
        )
    told = said(
        "{fall} (from {ph_limed} to {ph_clear}); {usual}.",
        fall=figure(fall, ".2f"),
        ph_limed=figure(held.ph_limed, ".2f"),
        ph_clear=figure(held.ph_clear, ".2f"),
        usual=usual,
    )
    return said(
        "Fall of pH across the settler: {told} {odd_fall}", told=told, odd_fall=_odd_fall(held)
    ).strip()


def _odd_fall(held: Plausibility) -> str:
    if held.ph_fall is None or abs(held.ph_fall - USUAL_PH_FALL) <= _ODD_FALL:
        return ""
    more = said("more") if held.ph_fall > USUAL_PH_FALL else said("less")
    return said(
        "The pH falls clearly {more} than usual: compare both probes with grabs.", more=more
    )


def _destruction(held: Plausibility) -> str:
    at_7, at_8 = USUAL_DESTRUCTION_PCT_H
    usual = said(
        "{at_7} % near pH 7 and {at_8} % at pH 8, near 97 °C, is usual",
        at_7=figure(at_7, "g"),
        at_8=figure(at_8, "g"),
    )
    if held.destroyed_pct_h is None or held.ph_settler is None:
        return said("Reducing sugars destroyed in the settler: not known ({usual}).", usual=usual)
    return said(
        "Reducing sugars destroyed in the settler: {destroyed_pct_h} % an hour at"
        " pH {ph_settler} and {temp_settler_degc} °C; {usual}.",
        destroyed_pct_h=figure(held.destroyed_pct_h, ".1f"),
        ph_settler=figure(held.ph_settler, ".2f"),
        temp_settler_degc=figure(held.temp_settler_degc, ".1f"),
        usual=usual,
    )


def _undetermined(band: Band | None) -> str:
    what = said("Undetermined loss that errors alone can make")
    if band is None:
        return said(
            "{what}: not known, pol and Brix were not both analysed before and after.", what=what
        )
    few = said(", which is few") if min(band.before, band.after) < _FEW else ""
    return said(
        "{what}: up to {rounded} % of the pol fed either way ({tonnes}), by "
        "{whose} with {before} samples before and {after} after{few}. An "
        "undetermined loss inside that may be none.",
        what=what,
        rounded=_rounded(band.pct),
        tonnes=_tonnes(band.t),
        whose=_whose(band),
        before=band.before,
        after=band.after,
        few=few,
    )


def _whose(band: Band) -> str:
    return (
        said("sampling, pol and refractometer")
        if band.sampling_pct
        else said("pol and refractometer")
    )


def _tonnes(mass_t: float) -> str:
    return tonnes(mass_t, None, None).split(said(" ("), 1)[0]


def _rounded(pct: float) -> str:
    return figure(pct, ".2f") if pct < 1.0 else figure(pct, ".1f")
