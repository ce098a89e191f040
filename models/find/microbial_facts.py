"""What a microbial finding rests on, in plain words."""

from __future__ import annotations

from typing import Final

from models.cause import fact
from models.detect import MicrobialSpan, Reading

#: What each kind of evidence is.
_WORDS: Final = {
    "lime": "lime spent beyond what pH and Brix ask for, as acid that microbes make",
    "pol": "fall of pol over dry matter across the tank that no rise of reducing sugars explains",
    "lactic": "rise of lactic acid across the tank",
    "dextran": "rise of dextran across the tank",
    "ph": "fall of pH across the tank",
}

Fact = dict[str, object]


def microbial_facts(span: MicrobialSpan) -> list[Fact]:
    """Evidence of a microbial finding, what it lacks, and how sure it is.

    Parameters
    ----------
    span : MicrobialSpan

    Returns
    -------
    list of dict
        Sentences with value and unit.
    """
    inlet = "temperature of the juice flowing into the tank, which has no thermometer of its own"
    facts = [fact(inlet if span.by_inlet else "tank temperature", span.temp_degc, "degC")]
    return facts + (_measured(span) if span.by_lactic else _inferred(span))


def _measured(span: MicrobialSpan) -> list[Fact]:
    beside = [r for r in span.readings if r.name != "lactic"]
    return [
        fact("lactic acid made in the tank, above its usual", span.lactic_rise_mg_kg, "mg/kg"),
        fact("laboratory samples that show it", span.samples, ""),
        *_each(beside),
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
        *_each(list(span.readings)),
    ]


def _each(readings: list[Reading]) -> list[Fact]:
    """Each kind of evidence with its size in standard errors, strongest first."""
    sizes = sorted(((r.eaten / r.sd, r.name) for r in readings), reverse=True)
    return [
        fact(f"{_WORDS[name]}, in standard errors (0 would be no growth)", size, "")
        for size, name in sizes
    ]
