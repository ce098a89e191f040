"""The numbers behind the tonnes: each step with formula, value, unit and source.

Every value is printed with enough digits that a reader with a pocket calculator gets the next one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from features.base import Station
from features.flow import zone_temperature_source
from features.kinetics import VUKOV_A, VUKOV_B_K
from models.account import ByHand
from pipeline.words import plain, unit_words

_DIGITS = 5


@dataclass(frozen=True)
class Step:
    """One line of a calculation; ``number`` lets a formula point at it."""

    number: str
    what: str
    formula: str
    value: str
    unit: str
    source: str
    mark: str


def digits(value: float, wanted: int = _DIGITS) -> str:
    """Write a number with five significant digits, small ones as a power of ten."""
    if not math.isfinite(value):
        return "not known"
    if value == 0.0:
        return "0"
    decade = math.floor(math.log10(abs(value)))
    if decade < -4:
        return f"{value / 10.0**decade:.{wanted - 1}f} × 10^{decade}"
    return plain(value, max(0, wanted - 1 - decade))


_VOLUME = "description, to 10 %; level tag"
_SPS4, _SEEN = "density: ICUMSA SPS-4", "seen in print"
#: Constants written down by heart; the laboratory sets the level all the same.
_PRINTED = "published, not checked in print"
_TEMP = "temperature tag"
_PROBES = "pH probes, weighted by place"
_LINE, _LINE_MARK = "Schaffler 1987, a straight line", "form seen in print, slope an estimate"
_GRABS = "the laboratory's grabs, smoothed"
_TARGETS = "targets of the description"


def _vukov(hand: ByHand) -> str:
    """Source of the rate; where cells differ in pH, the rate at their mean is told too."""
    source = "Vukov, Int. Sugar J. 67 (1965) 172"
    if math.isclose(hand.inversion_1_h, hand.at_mean_1_h, rel_tol=1e-4):
        return source
    return f"{source}; mean over the vessel's cells, {digits(hand.at_mean_1_h)} at the mean pH a8"


def _fit(pairs: int) -> str:
    return "computed" if pairs else "estimate"


def minute_steps(hand: ByHand, station: Station, account: Mapping[str, Any]) -> list[Step]:
    """One minute of one vessel, step by step, to its loss."""
    kinetics = station.kinetics
    pairs = account.get("multiplier_pairs") or 0
    fitted = f"fit to {pairs} laboratory samples" if pairs else "the mill's description"
    slope, cold = f"({kinetics.ph_slope:g})", f"{kinetics.ph_ref_degc:g}"
    rate = f"60 × 10^({VUKOV_A:g} + log10(a6) − {VUKOV_B_K:g} / (a4 + 273.15) − a8)"
    factors = " × ".join(f"{name} {digits(value, 4)}" for name, value in _named(hand.factors))
    through = hand.target_kg_h * math.prod(hand.factors.values())
    rows: tuple[tuple[str, str, float, str, str, str], ...] = (
        ("Juice held", "volume reached × level", hand.volume_m3, "m3", _VOLUME, "estimate"),
        ("Sucrose in it", "Brix × purity × density", hand.sucrose_kg_m3, "kg/m3", _SPS4, _SEEN),
        ("Sucrose held", "a1 × a2", hand.held_kg, "kg", "", "computed"),
        ("Temperature", *_heat(station, hand)),
        ("Brix", "as read, carried by the juice", hand.brix_pct, "%", "Brix tags", "measured"),
        ("Water in it", "(100 − a5) / 100 × density", hand.water_g_ml, "g/mL", _SPS4, _SEEN),
        ("pH, cooled sample", "as read, vessel's mean", hand.ph_read, "pH", _PROBES, "measured"),
        ("The same at a4", f"a7 + {slope} × (a4 − {cold})", hand.ph_hot, "pH", _LINE, _LINE_MARK),
        ("Inversion rate", rate, hand.inversion_1_h, "1/h", _vukov(hand), _PRINTED),
        ("Probe reads too high by", "probe − laboratory", hand.ph_error, "pH", _GRABS, "computed"),
        ("Correction for it", "10^a10", hand.correction, "-", "first order, as in a9", _PRINTED),
        ("Mill's multiplier", "actual over published", hand.multiplier, "-", fitted, _fit(pairs)),
        ("Sucrose lost", "a3 × a9 × a11 × a12", hand.loss_kg_h, "kg/h", "", "computed"),
        ("The same at targets", "all of it again", hand.target_kg_h, "kg/h", _TARGETS, "estimate"),
        ("From a14 back to a13", f"a14 × {factors}", through, "kg/h", "", "computed"),
    )  # fmt: skip
    return [
        Step(f"a{i}", what, formula, digits(value), unit_words(unit), source, mark)
        for i, (what, formula, value, unit, source, mark) in enumerate(rows, start=1)
    ]


def _heat(station: Station, hand: ByHand) -> tuple[str, float, str, str, str]:
    """How the temperature is known: only a thermometer's is called measured."""
    source = zone_temperature_source(station, hand.zone)
    how, where, mark = {
        "read": ("as read", _TEMP, "measured"),
        "vapour": ("boiling point at its vapour pressure", source.tag, "computed"),
        "neighbour": ("followed, no thermometer", source.tag, "estimate"),
        "target": ("its target, no thermometer", _TARGETS, "estimate"),
    }[source.told]
    return how, hand.temp_degc, "degC", where, mark


def _named(factors: Mapping[str, float]) -> list[tuple[str, float]]:
    names = {"ph": "pH", "temp": "temperature", "brix": "Brix", "volume": "volume"}
    return [(names[name], factors[name]) for name in names]
