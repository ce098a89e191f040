"""What a microbial finding rests on, in plain words."""

from __future__ import annotations

from typing import Final

import numpy as np

from models.base import Minutes
from models.cause import fact
from models.detect import MicrobialSpan, Reading

#: What each kind of evidence is.
_WORDS: Final = {
    "lime": "lime spent beyond what pH and Brix ask for, on acid that microbes make",
    "pol": "pol over dry matter lost across {place} that no rise of reducing sugars explains",
    "lactic": "lactic acid risen across {place}",
    "dextran": "dextran risen across {place}",
    "ph": "pH fallen across {place}",
}
#: Below so many times its error a sign is weak, from so many on it is clear (judgement).
_WEAK, _CLEAR = 2.0, 3.0

Fact = dict[str, object]


def usual_degc(minutes: Minutes, span: MicrobialSpan) -> float:
    """Median temperature of a tank outside a cool spell of it [degC]; NaN where none is known."""
    outside = minutes.zones[span.zone]["temp_degc"].copy()
    outside[span.start : span.end] = np.nan
    known = outside[np.isfinite(outside) & ~minutes.stopped]
    return float(np.median(known)) if len(known) else float("nan")


def microbial_facts(span: MicrobialSpan, usual: float) -> list[Fact]:
    """Evidence of a microbial finding, what it lacks, and how sure it is.

    Parameters
    ----------
    span : MicrobialSpan
    usual : float
        Usual temperature of the tank [degC]; NaN where it is not known.

    Returns
    -------
    list of dict
        Sentences with value and unit.
    """
    inlet = "juice flowing into {place}, which has no thermometer of its own,"
    form = inlet if span.by_inlet else "juice in {place}"
    first = fact(form, span.temp_degc, "degC", usual=usual, place=span.zone)
    return [first, *(_measured(span) if span.by_lactic else _inferred(span))]


def _measured(span: MicrobialSpan) -> list[Fact]:
    beside = [r for r in span.readings if r.name != "lactic"]
    return [
        fact(
            "lactic acid made in {place}, above its usual, in {n} laboratory samples",
            span.lactic_rise_mg_kg,
            "mg/kg",
            place=span.zone,
            n=str(span.samples),
        ),
        *_each(span, beside),
    ]


def _inferred(span: MicrobialSpan) -> list[Fact]:
    lactic = any(r.name == "lactic" and r.samples for r in span.readings)
    lacking = (
        "lactic acid by itself does not prove it; with all else, chance that microbes grew"
        if lactic
        else "no lactic acid was measured; by all else, chance that microbes grew"
    )
    return [
        fact(lacking, 100.0 * span.probability, "%"),
        fact("chance of such signs in a cool tank without growth", 100.0 * span.p_value, "%"),
        *_each(span, list(span.readings)),
    ]


def _each(span: MicrobialSpan, readings: list[Reading]) -> list[Fact]:
    """Each kind of evidence with its size beside its own error, strongest first."""
    sizes = sorted(((r.eaten / r.sd, r.name) for r in readings), reverse=True)
    return [
        fact(f"{_WORDS[name]}: {_how_clear(size)}", size, "times its error", place=span.zone)
        for size, name in sizes
    ]


def _how_clear(size: float) -> str:
    if size >= _CLEAR:
        return "a clear sign"
    return "a sign" if size >= _WEAK else "a weak sign" if size > 0.0 else "no sign"
