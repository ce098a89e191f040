"""Words of the dossier that the report does not have: signals, errors, telling quantities."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from features.base import Signal
from pipeline.words import QUANTITIES, place_words, said

#: Error of an input: what it is, where its size comes from, and how sure that is.
ERRORS: Final[Mapping[str, tuple[str, str, str]]] = {
    "ph": (said("corrected pH"), said("what the laboratory's grabs leave open"), said("computed")),
    "temperature": (
        said("temperature"),
        said("half a kelvin for a plant probe"),
        said("common practice"),
    ),
    "volume": (said("volumes of the vessels"), said("the mill's description"), said("estimate")),
    "flow": (said("flow meter"), said("2 %, levered by usual loss over excess"), said("estimate")),
    "sucrose": (said("sucrose by Brix and purity"), said("{share} %", share=1), said("estimate")),
    "multiplier": (
        said("kinetic multiplier"),
        said("fit to the laboratory's samples"),
        said("computed"),
    ),
    "ph_slope": (
        said("fall of pH with temperature"),
        said("slope of the description"),
        said("estimate"),
    ),
    "scatter": (
        said("everyday scatter over these hours"),
        said("long-run variance"),
        said("computed"),
    ),
    "model_form": (
        said("dead space, pH inside vessels"),
        said("what the model of vessels leaves out"),
        said("estimate"),
    ),
    "sucrose_per_lactic": (
        said("sucrose eaten per lactic acid"),
        said("0.95 by stoichiometry (computed), 2 to 8 in the trade"),
        said("known to a factor of two"),
    ),
    "analyses": (said("lactic-acid analyses"), said("the laboratory's errors"), said("computed")),
    "microbial_evidence": (
        said("lime, pol and what else speaks of microbes, sucrose per acid among it"),
        said("what the evidence leaves of a wide prior"),
        said("computed; prior: judgement"),
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
    "settler_infection": frozenset({"ph", said("temperature")}),
    "invert_destruction": frozenset({"ph", said("temperature")}),
}


def signal_words(signal: Signal, kinds: Mapping[str, str]) -> str:
    """Say what a tag measures: ``pH, liming tank, outlet``."""
    what = QUANTITIES[signal.quantity][0]
    second = said(", second instrument") if signal.beside else ""
    return said(
        "{what}, {place_words}{second}",
        what=what,
        place_words=place_words(signal.place, signal.port, kinds),
        second=second,
    )
