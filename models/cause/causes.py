"""Which fault an episode is, with the facts that carry it and what else it could be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import VesselKind
from models.base import Array
from models.detect import MUD_SUFFIX, Candidate, Channel, Context, vessel_of

_BY_CHANNEL = {
    "standing": "standing_juice",
    "throughput": "slow_throughput",
    "heat": "overheating",
    "mud": "mud_held",
    "hold": "tank_held",
    "drop": "unexplained",
}
#: A part with at least this share of the tonnes is told with its facts (judgement).
_TOLD_SHARE = 0.1


@dataclass(frozen=True)
class NamedCause:
    """A cause, its alternatives and the facts.

    Attributes
    ----------
    cause : str
    weights : dict of str to float
        Weight of each cause considered; they sum to 1.
    facts : list of dict
        Plain sentences with value and unit.
    """

    cause: str
    weights: dict[str, float]
    facts: list[dict[str, object]]


def fact(text: str, value: float, unit: str) -> dict[str, object]:
    """One line of evidence."""
    return {"text": text, "value": round(float(value), 4), "unit": unit}


def judge(item: Candidate, context: Context) -> NamedCause:
    """Name the cause of a candidate.

    Every part of it speaks for its own channel and weighs by its tonnes, so that what was taken up
    is told by name, too.
    """
    if item.channel.name == "unexplained":
        return NamedCause("unexplained", {"unexplained": 1.0}, _beside(item))
    own, *others = [
        (_verdict(Candidate(*part), context), max(part[2].kg, 0.0)) for part in item.parts
    ]
    total = max(own[1] + sum(kg for _, kg in others), 1e-9)
    weights: dict[str, float] = {}
    facts = [*own[0].facts, *_beside(item)]
    for verdict, kg in (own, *others):
        for cause, weight in verdict.weights.items():
            weights[cause] = weights.get(cause, 0.0) + weight * kg / total
    for verdict, kg in others:
        if kg >= _TOLD_SHARE * total:
            facts += verdict.facts
    return NamedCause(max(weights, key=weights.__getitem__), weights, facts)


def _verdict(part: Candidate, context: Context) -> NamedCause:
    """Weights and facts of one channel's episode."""
    name = part.channel.name
    if name == "ph":
        return _judge_ph(part, context)
    cause = _BY_CHANNEL[name]
    return NamedCause(cause, {cause: 1.0}, _FACTS[name](part, context))


def _beside(item: Candidate) -> list[dict[str, object]]:
    """Losses of their own in the same hours: the reader must not take this one for all."""
    return [
        fact(f"in the same hours, and a finding of its own: {_fault(channel)}", span.kg / 1e3, "t")
        for channel, span in item.beside
    ]


def _fault(channel: Channel) -> str:
    """What an episode of a channel is, in words."""
    place = channel.section.removesuffix(MUD_SUFFIX).replace("_", " ")
    return {
        "ph": "limed juice too acid",
        "drop": "pH falling further on the way",
        "heat": f"juice too hot in the {place}",
        "hold": f"juice held in the {place}",
        "mud": f"mud held in the {place}",
        "throughput": "slow running",
        "standing": "juice standing in a stop",
    }.get(channel.name, "a loss that no known cause explains")


def _mean(values: Array, item: Candidate) -> float:
    part = values[item.span.start : item.span.end]
    return float(np.nanmean(part)) if np.isfinite(part).any() else float("nan")


def _usual(values: Array, context: Context) -> float:
    part = values[context.quiet & np.isfinite(values)]
    return float(np.median(part)) if len(part) else float("nan")


def _judge_ph(item: Candidate, context: Context) -> NamedCause:
    """Tell a low reading from a wrong probe from a fall that only the settled juice shows."""
    station = context.minutes.station
    limed, clear = station["ph_limed"], station["ph_clear"]
    bias = context.biases.get("limed")
    read_gap = _usual(limed, context) - _mean(limed, item)
    error = _mean(bias.bias, item) - _usual(bias.bias, context) if bias is not None else 0.0
    clear_gap = _usual(clear, context) - _mean(clear, item)
    parts = {"low_limed_ph": max(np.nan_to_num(read_gap), 0.0), "ph_probe_high": max(error, 0.0)}
    # The limed juice is known to about this much: neither may claim it.
    parts["unexplained"] = 0.02
    total = sum(parts.values())
    weights = {name: value / total for name, value in parts.items()}
    facts = [
        fact(
            f"limed juice{_probe(context, 'liming_tank')} reads below its usual by", read_gap, "pH"
        ),
        fact("and stands above the laboratory's grabs, more than usual, by", error, "pH"),
        fact(f"clear juice{_probe(context, 'settler')} reads below its usual by", clear_gap, "pH"),
    ]
    return NamedCause(max(weights, key=weights.__getitem__), weights, facts)


def _probe(context: Context, kind: VesselKind) -> str:
    """Name of the pH tag of a kind of vessel, for a reader who has to find it."""
    for vessel in context.station.of_kind(kind):
        signal = context.station.signal("ph", vessel.name)
        if signal is not None:
            return f" ({signal.tag})"
    return ""


def _drop_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    station = context.minutes.station
    drop = station["ph_drop_settler"]
    return [
        fact("pH falls between limed and clear juice by", _mean(drop, item), "pH"),
        fact("it usually falls by", _usual(drop, context), "pH"),
    ]


def _standing_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    return [
        fact("no feed for", (item.span.end - item.span.start) / 60.0, "h"),
        fact("juice held", _mean(zone["volume_m3"], item), "m3"),
        fact("juice temperature while it stood", _mean(zone["temp_degc"], item), "degC"),
    ]


def _throughput_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    station = context.minutes.station
    return [
        fact("juice flow", _mean(station["flow_feed_m3_h"], item), "m3/h"),
        fact("usual juice flow", _usual(station["flow_feed_m3_h"], context), "m3/h"),
        fact("residence in the train", _mean(station["residence_train_min"], item), "min"),
        fact("usual residence", _usual(station["residence_train_min"], context), "min"),
    ]


def _heat_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    return [
        fact("juice temperature", _mean(zone["temp_degc"], item), "degC"),
        fact("usual temperature", _usual(zone["temp_degc"], context), "degC"),
        fact("target", vessel_of(context.station, item.channel.section).temp_degc, "degC"),
    ]


def _hold_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    what = "mud zone" if item.channel.section.endswith(MUD_SUFFIX) else "tank"
    return [
        fact(f"juice in the {what}", _mean(zone["volume_m3"], item), "m3"),
        fact(f"usual volume in the {what}", _usual(zone["volume_m3"], context), "m3"),
        fact("residence there", _mean(zone["residence_min"], item), "min"),
        fact("usual residence there", _usual(zone["residence_min"], context), "min"),
    ]


_FACTS = {
    "drop": _drop_facts,
    "standing": _standing_facts,
    "throughput": _throughput_facts,
    "heat": _heat_facts,
    "hold": _hold_facts,
    "mud": _hold_facts,
}
