"""Which fault an episode is, with the facts that carry it and what else it could be."""

from __future__ import annotations

import numpy as np

from features.flow import MUD_REL_SD, mud_told
from models.base import Array
from models.cause.episode import NamedCause, fact, mean_in, probe_words, usual_of
from models.cause.fall import LEAST_UNEXPLAINED_PH, judge_fall
from models.cause.untold_words import UNTOLD_WHY, heat_told
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
        fact(
            f"in the same hours, and a finding of its own: {_fault(channel)}",
            span.kg / 1e3,
            "t",
            place=channel.section.removesuffix(MUD_SUFFIX),
        )
        for channel, span in item.beside
    ]


def _fault(channel: Channel) -> str:
    """What an episode of a channel is, in words, with room for its place."""
    return {
        "ph": "limed juice too acid",
        "drop": "pH falling further before the clear juice",
        "heat": "juice too hot in {place}",
        "hold": "juice held in {place}",
        "mud": "mud held in {place}",
        "throughput": "slow running",
        "standing": "juice standing in a stop",
    }.get(channel.name, "a loss that no known cause explains")


def _judge_ph(item: Candidate, context: Context) -> NamedCause:
    """Tell a low reading from a wrong probe from a fall that only the settled juice shows."""
    station = context.minutes.station
    limed, clear = station["ph_limed"], station["ph_clear"]
    bias = context.biases.get("limed")
    limed_usual, clear_usual = (usual_of(values, context) for values in (limed, clear))
    read_gap = limed_usual - mean_in(limed, item)
    error = mean_in(bias.bias, item) - usual_of(bias.bias, context) if bias is not None else 0.0
    clear_gap = clear_usual - mean_in(clear, item)
    parts = {"low_limed_ph": max(np.nan_to_num(read_gap), 0.0), "ph_probe_high": max(error, 0.0)}
    parts["unexplained"] = LEAST_UNEXPLAINED_PH
    total = sum(parts.values())
    weights = {name: value / total for name, value in parts.items()}
    limed_probe, clear_probe = (
        probe_words(context.station, kind) for kind in ("liming_tank", "settler")
    )
    facts = [
        fact(
            "limed juice{tag}", limed_usual - read_gap, "pH", usual=limed_usual,
            target=context.station.targets.ph_limed, tag=limed_probe,
        ),
        fact(
            "limed-juice probe{tag} reads above the laboratory's grabs, more than usual, by",
            error, "pH", tag=limed_probe,
        ),
        fact(
            "clear juice{tag}", clear_usual - clear_gap, "pH", usual=clear_usual,
            target=context.station.targets.ph_clear, tag=clear_probe,
        ),
    ]  # fmt: skip
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
        heat = f"{degc:.0f} °C ({how})" if how else f"{degc:.0f} °C"
        content = f"{held:.0f} m³ at {heat} and pH {ph:.1f}"
        form = f"{{place}}{full} held {{content}}; part of the loss"
        facts.append(fact(form, 100.0 * kg[zone] / total, "%", place=zone, content=content))
    return facts + [
        fact(
            f"not counted: {{place}}, {UNTOLD_WHY[p.why]}",
            (p.end - p.start) / 60.0,
            "h",
            place=p.zone,
        )
        for p in left_out
    ]


def _content_read(context: Context, zone: str) -> bool:
    """Whether a level tells what a vessel holds; mud moves its settler's juice without one."""
    if str(vessel_of(context.station, zone).kind) == "settler" and not zone.endswith(MUD_SUFFIX):
        return level_read(context.station, zone, context.minutes)
    return moves(context.minutes.zones[zone]["volume_m3"])


def _throughput_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    station = context.minutes.station
    target = context.station.targets.flow_feed_m3_h
    return [
        _beside_usual("juice flow", station["flow_feed_m3_h"], "m3/h", item, context, target),
        _beside_usual(
            "residence time of the whole station", station["residence_train_min"], "min", item,
            context,
        ),
        *_cooled(item, context),
    ]  # fmt: skip


def _beside_usual(
    form: str,
    values: Array,
    unit: str,
    item: Candidate,
    context: Context,
    target: float | None = None,
    **parts: str,
) -> dict[str, object]:
    """A mean of the episode beside the usual of quiet hours."""
    usual = usual_of(values, context)
    return fact(form, mean_in(values, item), unit, usual=usual, target=target, **parts)


def _cooled(item: Candidate, context: Context) -> list[dict[str, object]]:
    """What slow juice saves by cooling, where a settler's thermometer shows it."""
    for settler in context.station.of_kind("settler"):
        if settler.name not in context.minutes.zones or heat_told(context.station, settler.name):
            continue
        temp = context.minutes.zones[settler.name]["temp_degc"]
        colder = usual_of(temp, context) - mean_in(temp, item)
        if colder >= _TELLING_K:
            text = (
                "{place}, cooled by slow juice, which the tonnes are net of, is below its usual by"
            )
            return [fact(text, colder, "K", place=settler.name)]
    return []


def _heat_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    how = heat_told(context.station, item.channel.section)
    form = f"juice in {{place}} ({how})" if how else "juice in {place}"
    target = vessel_of(context.station, item.channel.section).temp_degc
    place = item.channel.section
    return [
        _beside_usual(form, zone["temp_degc"], "degC", item, context, target, place=place),
    ]


def _hold_facts(item: Candidate, context: Context) -> list[dict[str, object]]:
    zone = context.minutes.zones[item.channel.section]
    place = item.channel.section
    held, stay = "juice in {place}", "residence time in {place}"
    return [
        _beside_usual(held, zone["volume_m3"], "m3", item, context, place=place),
        _beside_usual(stay, zone["residence_min"], "min", item, context, place=place),
        *(_by_balance(item, context) if place.endswith(MUD_SUFFIX) else []),
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
