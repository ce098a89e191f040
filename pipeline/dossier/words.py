"""Words of the dossier that the report does not have: signals, errors, telling quantities."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from features.base import Signal
from pipeline.words import QUANTITIES, place_words

#: Error of an input: what it is, where its size comes from, and how sure that is.
ERRORS: Final[Mapping[str, tuple[str, str, str]]] = {
    "ph": ("corrected pH", "what the laboratory's grabs leave open", "computed"),
    "temperature": ("temperature", "half a kelvin for a plant probe", "common practice"),
    "volume": ("volumes of the vessels", "the mill's description", "estimate"),
    "flow": ("flow meter", "2 %, levered by usual loss over excess", "estimate"),
    "sucrose": ("sucrose by Brix and purity", "1 %", "estimate"),
    "multiplier": ("kinetic multiplier", "fit to the laboratory's samples", "computed"),
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
        "known to a factor of two",
    ),
    "analyses": ("lactic-acid analyses", "the laboratory's errors", "computed"),
    "microbial_evidence": (
        "lime, pol and what else speaks of microbes, sucrose per acid among it",
        "what the evidence leaves of a wide prior",
        "computed; prior: judgement",
    ),
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
    "clear_probe_low": frozenset({"ph"}),
    "short_circuiting": frozenset({"ph", "turbidity"}),
    "late_lime_reaction": frozenset({"ph", "lime_flow"}),
    "settler_infection": frozenset({"ph", "temperature"}),
    "invert_destruction": frozenset({"ph", "temperature"}),
}


def signal_words(signal: Signal, kinds: Mapping[str, str]) -> str:
    """Say what a tag measures: ``pH, liming tank, outlet``."""
    what = QUANTITIES[signal.quantity][0]
    second = ", second instrument" if signal.beside else ""
    return f"{what}, {place_words(signal.place, signal.port, kinds)}{second}"
