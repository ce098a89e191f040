"""Which fault an episode is, with the facts that carry it and what else it could be."""

from __future__ import annotations

import numpy as np

from features.flow import MUD_REL_SD, mud_told
from models.cause.episode import NamedCause, fact, mean_in, probe_words, usual_of
from models.cause.fall import LEAST_UNEXPLAINED_PH, judge_fall
from models.cause.untold_words import UNTOLD_WHY, heat_told, place_of
from models.detect import (
    MUD_SUFFIX,
    Candidate,
    Channel,
    Context,
    level_read,
    moves,
    untold,
    vessel_of,
)

_BY_CHANNEL = {
    "standing": "standing_juice",
    "throughput": "slow_throughput",
    "heat": "overheating",
    "mud": "mud_held",
    "hold": "tank_held",
}
#: A part with at least this share of the tonnes is told with its facts (judgement).
_TOLD_SHARE = 0.1
#: Vessels of a stop that are told one by one.
_VESSELS_TOLD = 3
#: Falls of temperature smaller than this are not told (judgement) [K].
_TELLING_K = 0.3
#: Departures of pH smaller than this prove nothing (judgement) [pH].
_TELLING_PH = 0.05


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
    if name == "drop":
        return judge_fall(part, context)
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


def _judge_ph(item: Candidate, context: Context) -> NamedCause:
    """Tell a low reading from a wrong probe from a fall that only the settled juice shows."""
    station = context.minutes.station
    limed, clear = station["ph_limed"], station["ph_clear"]
    bias = context.biases.get("limed")
    read_gap = usual_of(limed, context) - mean_in(limed, item)
    error = mean_in(bias.bias, item) - usual_of(bias.bias, context) if bias is not None else 0.0
    clear_gap = usual_of(clear, context) - mean_in(clear, item)
    parts = {"low_limed_ph": max(np.nan_to_num(read_gap), 0.0), "ph_probe_high": max(error, 0.0)}
    parts["unexplained"] = LEAST_UNEXPLAINED_PH
    total = sum(parts.values())
    weights = {name: value / total for name, value in parts.items()}
    limed_probe, clear_probe = (
        probe_words(context.station, kind) for kind in ("liming_tank", "settler")
    )
    facts = [
        fact(f"limed juice{limed_probe} reads below its usual by", read_gap, "pH"),
        fact("and stands above the laboratory's grabs, more than usual, by", error, "pH"),
        fact(f"clear juice{clear_probe} reads below its usual by", clear_gap, "pH"),
    ]
    telling = [f for f, ph in zip(facts, (read_gap, error, clear_gap), strict=True) if _tells(ph)]
    return NamedCause(max(weights, key=weights.__getitem__), weights, telling)


def _tells(ph: float) -> bool:
    """Whether a departure proves anything; less is the probes' everyday error."""
    return abs(ph) >= _TELLING_PH


def _standing_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    """How long, then vessel by vessel what was held, how warm and how acid; the costliest first.

    Vessels of which nothing tells come last: they are not in the tonnes.
    """
    zones, start, end = context.minutes.zones, item.span.start, item.span.end
    window = slice(start, end)
    left_out = untold(context.minutes, context.station, start, end)
    cost = {z: np.nan_to_num(zones[z]["loss_kg_h"][window]) for z in item.channel.zones}
    for part in left_out:
        if part.zone in cost:
            cost[part.zone][part.start - start : part.end - start] = 0.0
    kg = {zone: float(rate.sum()) for zone, rate in cost.items() if rate.any()}
    total = max(sum(kg.values()), 1e-9)
    facts = [fact("no feed for", (end - start) / 60.0, "h")]
    for zone in sorted(kg, key=lambda z: -kg[z])[:_VESSELS_TOLD]:
        held, degc, ph = (
            mean_in(zones[zone][name], item) for name in ("volume_m3", "temp_degc", "ph_cold")
        )
        # No level, but its mud stood or it ran over at once: what is not known is not here at all.
        full = "" if _content_read(context, zone) else ", counted as full for want of a level,"
        how = heat_told(context.station, zone)
        heat = f"{degc:.0f} degC ({how})" if how else f"{degc:.0f} degC"
        content = f"{held:.0f} m3 at {heat} and pH {ph:.1f}"
        text = f"{place_of(zone)}{full} held {content}; of the loss"
        facts.append(fact(text, 100.0 * kg[zone] / total, "%"))
    return facts + [
        fact(f"not counted: {place_of(p.zone)}, {UNTOLD_WHY[p.why]}", (p.end - p.start) / 60.0, "h")
        for p in left_out
    ]


def _content_read(context: Context, zone: str) -> bool:
    """Whether a level tells what a vessel holds; mud moves its settler's juice without one."""
    if str(vessel_of(context.station, zone).kind) == "settler" and not zone.endswith(MUD_SUFFIX):
        return level_read(context.station, zone, context.minutes)
    return moves(context.minutes.zones[zone]["volume_m3"])


def _throughput_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    station = context.minutes.station
    return [
        fact("juice flow", mean_in(station["flow_feed_m3_h"], item), "m3/h"),
        fact("usual juice flow", usual_of(station["flow_feed_m3_h"], context), "m3/h"),
        fact("residence in the train", mean_in(station["residence_train_min"], item), "min"),
        fact("usual residence", usual_of(station["residence_train_min"], context), "min"),
        *_cooled(item, context),
    ]


def _cooled(item: Candidate, context: Context) -> list[dict[str, object]]:
    """What slow juice saves by cooling, where a settler's thermometer shows it."""
    for settler in context.station.of_kind("settler"):
        if settler.name not in context.minutes.zones or heat_told(context.station, settler.name):
            continue
        temp = context.minutes.zones[settler.name]["temp_degc"]
        colder = usual_of(temp, context) - mean_in(temp, item)
        if colder >= _TELLING_K:
            text = "slow juice cools, which the tonnes are net of; settler below its usual by"
            return [fact(text, colder, "K")]
    return []


def _heat_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    how = heat_told(context.station, item.channel.section)
    told = f"juice temperature ({how})" if how else "juice temperature"
    return [
        fact(told, mean_in(zone["temp_degc"], item), "degC"),
        fact("usual temperature", usual_of(zone["temp_degc"], context), "degC"),
        fact("target", vessel_of(context.station, item.channel.section).temp_degc, "degC"),
    ]


def _hold_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    mud = item.channel.section.endswith(MUD_SUFFIX)
    tank = mud or str(vessel_of(context.station, item.channel.section).kind).endswith("_tank")
    what = "mud zone" if mud else "tank" if tank else "vessel"
    return [
        fact(f"juice in the {what}", mean_in(zone["volume_m3"], item), "m3"),
        fact(f"usual volume in the {what}", usual_of(zone["volume_m3"], context), "m3"),
        fact("residence there", mean_in(zone["residence_min"], item), "min"),
        fact("usual residence there", usual_of(zone["residence_min"], context), "min"),
        *(_by_balance(item, context) if mud else []),
    ]


def _by_balance(item: Candidate, context: Context) -> list[dict[str, object]]:
    """How well the mud is known where no level of it is read."""
    settler = vessel_of(context.station, item.channel.section)
    if mud_told(context.station, settler) != "balance":
        return []
    volume = context.minutes.zones[item.channel.section]["volume_m3"]
    over = abs(mean_in(volume, item) - usual_of(volume, context))
    text = "no mud level is read: worked out from the underflow, more or less by"
    return [fact(text, MUD_REL_SD["balance"] * over, "m3")]


_FACTS = {
    "standing": _standing_facts,
    "throughput": _throughput_facts,
    "heat": _heat_facts,
    "hold": _hold_facts,
    "mud": _hold_facts,
}
