"""Words of the dossier that the report does not have: quantities, channels, sources, errors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from features.base import Signal
from pipeline.words import section_words, spoken_name

#: Quantity in words, unit kept inside the tool, decimals that instruments can tell.
QUANTITIES: Final[Mapping[str, tuple[str, str, int]]] = {
    "flow": ("juice flow", "m3/h", 1),
    "temperature": ("temperature", "degC", 1),
    "ph": ("pH", "pH", 2),
    "level": ("level", "%", 1),
    "mud_level": ("mud level", "%", 1),
    "brix": ("Brix", "%", 2),
    "turbidity": ("turbidity", "NTU", 1),
    "conductivity": ("conductivity", "mS/cm", 2),
    "steam_pressure": ("steam pressure", "kPa", 0),
    "cane_rate": ("cane rate", "t/h", 0),
    "imbibition_flow": ("imbibition water", "m3/h", 1),
    "lime_flow": ("milk of lime", "L/h", 0),
    "flocculant_flow": ("flocculant", "L/h", 0),
    "other": ("reading", "", 2),
}
#: Analyte in words, unit, decimals.
ANALYTES: Final[Mapping[str, tuple[str, str, int]]] = {
    "ph": ("pH", "pH", 2),
    "brix": ("Brix", "%", 2),
    "pol": ("pol", "%", 2),
    "purity": ("purity", "%", 1),
    "rs": ("reducing sugars on juice", "%", 3),
    "lactic": ("lactic acid", "mg/kg", 0),
    "turbidity": ("turbidity", "NTU", 0),
    "potassium": ("potassium", "mg/kg", 0),
    "chloride": ("chloride", "mg/kg", 0),
    "dextran": ("dextran", "mg/kg", 0),
    "colour": ("colour", "IU", 0),
    "phosphate": ("phosphate", "mg/kg", 0),
}
_PORTS: Final = {"in": "inlet", "inside": "inside", "out": "outlet", "mud": "mud", "": ""}

#: Error of an input: what it is, where its size comes from, and how sure that is.
ERRORS: Final[Mapping[str, tuple[str, str, str]]] = {
    "ph": ("corrected pH", "what the laboratory's grabs leave open", "computed"),
    "temperature": ("temperature", "half a kelvin for a plant probe", "common practice"),
    "volume": ("volumes of the vessels", "the mill's description", "estimate"),
    "flow": ("flow meter", "2 %, levered by usual loss over excess", "estimate"),
    "sucrose": ("sucrose by Brix and purity", "1 %", "estimate"),
    "multiplier": ("kinetic multiplier", "fit to the laboratory's pairs", "computed"),
    "ph_slope": ("fall of pH with temperature", "slope of the description", "estimate"),
    "scatter": ("everyday scatter over these hours", "long-run variance", "computed"),
    "model_form": (
        "dead space, pH inside vessels",
        "what the model of vessels leaves out",
        "estimate",
    ),
    "sucrose_per_lactic": (
        "sucrose eaten per lactic acid",
        "0.95 by stoichiometry (computed), 2 to 8 in the trade",
        "memory, weak",
    ),
    "analyses": ("lactic-acid analyses", "the laboratory's errors", "computed"),
}

#: Quantities whose trends tell most about a cause, wherever in the station they are measured.
TELLING: Final[Mapping[str, frozenset[str]]] = {
    "low_limed_ph": frozenset({"ph", "lime_flow"}),
    "ph_probe_high": frozenset({"ph", "lime_flow"}),
    "standing_juice": frozenset({"cane_rate"}),
    "slow_throughput": frozenset({"cane_rate", "imbibition_flow"}),
    "overheating": frozenset({"steam_pressure"}),
    "mud_held": frozenset({"mud_level"}),
    "tank_held": frozenset(),
    "microbial": frozenset(),
}


def place_words(place: str, port: str, kinds: Mapping[str, str]) -> str:
    """Say where something is read: ``liming tank, outlet``."""
    where = "mill" if place == "mill" else section_words(place, kinds)
    side = _PORTS.get(port, spoken_name(port))
    return ", ".join(part for part in (where, side) if part)


def signal_words(signal: Signal, kinds: Mapping[str, str]) -> str:
    """Say what a tag measures: ``pH, liming tank, outlet``."""
    what = QUANTITIES[signal.quantity][0]
    second = ", second instrument" if signal.beside else ""
    return f"{what}, {place_words(signal.place, signal.port, kinds)}{second}"
