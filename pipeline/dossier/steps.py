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
from pipeline.words import count, figure, joined, plain, said, unit_words

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
        return said("not known")
    if value == 0.0:
        return "0"
    decade = math.floor(math.log10(abs(value)))
    if decade < -4:
        return said(
            "{value} × 10^{decade}",
            value=figure(value / 10.0**decade, f".{wanted - 1}f"),
            decade=decade,
        )
    return plain(value, max(0, wanted - 1 - decade))


_VOLUME = said("description, to 10 %; level tag")
_SPS4, _SEEN = said("density: ICUMSA SPS-4"), said("seen in print")
#: Constants written down by heart; the laboratory sets the level all the same.
_PRINTED = said("published, not checked in print")
_TEMP = said("temperature tag")
_PROBES = said("pH probes, weighted by place")
_LINE, _LINE_MARK = (
    said("Schaffler 1987, a straight line"),
    said("form seen in print, slope an estimate"),
)
_GRABS = said("the laboratory's grabs, smoothed")
_TARGETS = said("targets of the description")


def _vukov(hand: ByHand) -> str:
    """Source of the rate; where cells differ in pH, the rate at their mean is told too."""
    source = said("Vukov, Int. Sugar J. 67 (1965) 172")
    if math.isclose(hand.inversion_1_h, hand.at_mean_1_h, rel_tol=1e-4):
        return source
    return said(
        "{source}; mean over the vessel's cells, {digits} at the mean pH a8",
        source=source,
        digits=digits(hand.at_mean_1_h),
    )


def _fit(pairs: int) -> str:
    return said("computed") if pairs else said("estimate")


def minute_steps(hand: ByHand, station: Station, account: Mapping[str, Any]) -> list[Step]:
    """One minute of one vessel, step by step, to its loss."""
    kinetics = station.kinetics
    pairs = account.get("multiplier_pairs") or 0
    fitted = (
        said("fit to {pairs} laboratory samples", pairs=count(pairs))
        if pairs
        else said("the mill's description")
    )
    slope, cold = (
        said("({ph_slope})", ph_slope=figure(kinetics.ph_slope, "g")),
        figure(kinetics.ph_ref_degc, "g"),
    )
    rate = said(
        "60 × 10^({a} + log10(a6) − {b} / (a4 + {zero}) − a8)",
        a=figure(VUKOV_A, "g"),
        b=figure(VUKOV_B_K, "g"),
        zero=figure(273.15, "g"),
    )
    factors = joined(
        " × ",
        (
            said("{name} {digits}", name=name, digits=digits(value, 4))
            for name, value in _named(hand.factors)
        ),
    )
    through = hand.target_kg_h * math.prod(hand.factors.values())
    rows: tuple[tuple[str, str, float, str, str, str], ...] = (
        (
            said("Juice held"),
            said("volume reached × level"),
            hand.volume_m3,
            "m3",
            _VOLUME,
            said("estimate"),
        ),
        (
            said("Sucrose in it"),
            said("Brix × purity × density"),
            hand.sucrose_kg_m3,
            "kg/m3",
            _SPS4,
            _SEEN,
        ),
        (said("Sucrose held"), "a1 × a2", hand.held_kg, "kg", "", said("computed")),
        (said("Temperature"), *_heat(station, hand)),
        (
            "Brix",
            said("as read, carried by the juice"),
            hand.brix_pct,
            "%",
            said("Brix tag"),
            said("measured"),
        ),
        (
            said("Water in it"),
            said("(100 − a5) / 100 × density"),
            hand.water_g_ml,
            "g/mL",
            _SPS4,
            _SEEN,
        ),
        (
            said("pH, cooled sample"),
            said("as read, vessel's mean"),
            hand.ph_read,
            "pH",
            _PROBES,
            said("measured"),
        ),
        (
            said("The same at a4"),
            said("a7 + {slope} × (a4 − {cold})", slope=slope, cold=cold),
            hand.ph_hot,
            "pH",
            _LINE,
            _LINE_MARK,
        ),
        (said("Inversion rate"), rate, hand.inversion_1_h, "1/h", _vukov(hand), _PRINTED),
        (
            said("Probe reads too high by"),
            said("probe − laboratory"),
            hand.ph_error,
            "pH",
            _GRABS,
            said("computed"),
        ),
        (
            said("Correction for it"),
            "10^a10",
            hand.correction,
            "-",
            said("first order, as in a9"),
            _PRINTED,
        ),
        (
            said("Mill's multiplier"),
            said("actual over published"),
            hand.multiplier,
            "-",
            fitted,
            _fit(pairs),
        ),
        (said("Sucrose lost"), "a3 × a9 × a11 × a12", hand.loss_kg_h, "kg/h", "", said("computed")),
        (
            said("The same at targets"),
            said("all of it again"),
            hand.target_kg_h,
            "kg/h",
            _TARGETS,
            said("estimate"),
        ),
        (
            said("From a14 back to a13"),
            said("a14 × {factors}", factors=factors),
            through,
            "kg/h",
            "",
            said("computed"),
        ),
    )
    return [
        Step(f"a{i}", what, formula, digits(value), unit_words(unit), source, mark)
        for i, (what, formula, value, unit, source, mark) in enumerate(rows, start=1)
    ]


def _heat(station: Station, hand: ByHand) -> tuple[str, float, str, str, str]:
    """How the temperature is known: only a thermometer's is called measured."""
    source = zone_temperature_source(station, hand.zone)
    how, where, mark = {
        "read": (said("as read"), _TEMP, said("measured")),
        "vapour": (said("boiling point at its vapour pressure"), source.tag, said("computed")),
        "neighbour": (said("followed, no thermometer"), source.tag, said("estimate")),
        "target": (said("its target, no thermometer"), _TARGETS, said("estimate")),
    }[source.told]
    return how, hand.temp_degc, "degC", where, mark


def _named(factors: Mapping[str, float]) -> list[tuple[str, float]]:
    names = {
        "ph": said("pH"),
        "temp": said("temperature"),
        "brix": said("Brix"),
        "volume": said("volume"),
    }
    return [(names[name], factors[name]) for name in names]
