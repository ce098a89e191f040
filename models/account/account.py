"""How the tonnes of a finding came about, kept so that anybody can work them out again.

The account is written when the finding is made and stored with its evidence: hours, mean rates and
factors at full precision. :func:`lost_kg` and :func:`interval_kg` put them together again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from features.kinetics import Z90, LossError
from models.amount import Excess, Multiplier
from models.base import Minutes
from models.detect import Candidate, Channel, MicrobialSpan, running_min
from models.search import Residual, Span

#: Drivers whose shares make up each channel; ``()`` stands for the whole loss over the targets.
CHANNEL_DRIVERS: dict[str, tuple[str, ...]] = {
    "ph": ("ph",),
    "drop": ("drop",),
    "heat": ("temperature",),
    "hold": ("volume", "held"),
    "mud": ("volume",),
    "throughput": ("throughput",),
    "standing": (),
    "unexplained": (),
}

Account = dict[str, Any]


def account_of(
    item: Candidate, minutes: Minutes, excess: Excess, multiplier: Multiplier, error: LossError
) -> Account:
    """Account of a candidate: one part for each channel, then the errors of the sum.

    Returns
    -------
    dict
        ``kind`` "rate"; ``multiplier`` with ``multiplier_low``, ``multiplier_high`` and
        ``multiplier_pairs``; ``parts``: each with channel, section, zones, started, ended (UTC,
        ISO 8601), hours [h], measured_min [min], channel_kg_h, by_zone_kg_h (sums to it),
        baseline_kg_h, lost_kg; and ``errors``: name, log_sd [-], adds; ``log_sd`` of the sum [-].
    """
    own = (item.channel, item.residual, item.span)
    return {
        "kind": "rate",
        "multiplier": multiplier.value,
        "multiplier_low": multiplier.low,
        "multiplier_high": multiplier.high,
        "multiplier_pairs": multiplier.pairs,
        "parts": [
            _part(minutes, *part)
            | {"by_zone_kg_h": _by_zone(excess, multiplier.value, part[0], part[2])}
            for part in (own, *item.joined)
        ],
        "errors": [
            {"name": c.name, "log_sd": c.size, "adds": c.adds}
            for c in error.contributions
            if c.size > 0.0
        ],
        "log_sd": error.log_sd,
    }


def _part(minutes: Minutes, channel: Channel, residual: Residual, span: Span) -> Account:
    window = slice(span.start, span.end)
    rate = channel.kg_h[window]
    known = np.isfinite(rate)
    # A stop is set against no usual: stops are no part of the ordinary course.
    usual = 0.0 * rate if channel.name == "standing" else residual.baseline_kg_h[window]
    measured = int(known.sum())
    return {
        "channel": channel.name,
        "section": channel.section,
        "zones": list(channel.zones),
        "started": minutes.at(span.start).isoformat(),
        "ended": minutes.at(span.end).isoformat(),
        "hours": running_min(channel, span, minutes) / 60.0,
        "measured_min": measured,
        "channel_kg_h": float(rate[known].mean()) if measured else 0.0,
        "baseline_kg_h": float(usual[known].mean()) if measured else 0.0,
        "lost_kg": span.kg,
    }


def _by_zone(excess: Excess, multiplier: float, channel: Channel, span: Span) -> dict[str, float]:
    """Mean rate by zone in the minutes that count [kg/h]; empty where it would not add up."""
    window = slice(span.start, span.end)
    known = np.isfinite(channel.kg_h[window])
    if not known.any():
        return {}
    reported = float(channel.kg_h[window][known].mean())
    own = {(zone, d) for zone in channel.zones for d in CHANNEL_DRIVERS[channel.name]}
    # A tank held too full may answer for what its older juice loses behind it.
    behind = {(zone, "held") for zone in excess.loss_kg_h} & excess.by_driver.keys()
    # Held mud answers for the room that it takes from its settler's clear juice.
    room = {(zone.partition(":")[0], "held") for zone in channel.zones} & excess.by_driver.keys()
    for chosen in (own, own | room, own | behind):
        rates = dict.fromkeys(excess.loss_kg_h, 0.0)
        for zone, driver in sorted(chosen & excess.by_driver.keys()):
            share = np.nan_to_num(excess.by_driver[zone, driver][window][known])
            rates[zone] += multiplier * float(share.mean())
        if not chosen:
            for zone in channel.zones:
                over = (excess.loss_kg_h[zone] - excess.reference_kg_h[zone])[window][known]
                rates[zone] = multiplier * float(np.nan_to_num(over).mean())
        if math.isclose(sum(rates.values()), reported, rel_tol=1e-6, abs_tol=1e-9):
            return {zone: rate for zone, rate in rates.items() if rate != 0.0}
    return {}


def microbial_account(
    span: MicrobialSpan, yield_kg_kg: float, log_sds: Mapping[str, float]
) -> Account:
    """Account of a microbial spell: juice through the tank, acid made in it, sucrose per acid.

    Parameters
    ----------
    span : MicrobialSpan
    yield_kg_kg : float
        Sucrose eaten per lactic acid made [kg/kg].
    log_sds : mapping of str to float
        Errors of the logarithm, by name [-].

    Returns
    -------
    dict
        ``kind`` "microbial"; ``by_lactic``, False where the acid follows from the sucrose that all
        evidence together speaks for; juice_kg, lactic_mg_kg (mean over that juice, above its
        usual), sucrose_per_lactic_kg_kg, lost_kg, errors and log_sd as in :func:`account_of`.
    """
    acid_kg = span.kg / yield_kg_kg
    return {
        "kind": "microbial",
        "by_lactic": span.by_lactic,
        "section": span.zone,
        "juice_kg": span.juice_kg,
        "lactic_mg_kg": 1e6 * acid_kg / span.juice_kg if span.juice_kg > 0.0 else 0.0,
        "sucrose_per_lactic_kg_kg": yield_kg_kg,
        "lost_kg": span.kg,
        "errors": [{"name": n, "log_sd": sd, "adds": False} for n, sd in log_sds.items()],
        "log_sd": math.hypot(*log_sds.values()),
    }


def part_kg(part: Mapping[str, Any]) -> float:
    """Loss of one part: (rate less the usual rate) times hours [kg]."""
    return float((part["channel_kg_h"] - part["baseline_kg_h"]) * part["hours"])


def lost_kg(account: Mapping[str, Any]) -> float:
    """Put the tonnes together again from the account [kg].

    Raises
    ------
    KeyError, TypeError
        If the account is not one that this module wrote.
    """
    if account["kind"] == "microbial":
        acid = account["juice_kg"] * account["lactic_mg_kg"] * 1e-6
        return float(acid * account["sucrose_per_lactic_kg_kg"])
    return sum(part_kg(part) for part in account["parts"])


def interval_kg(account: Mapping[str, Any]) -> tuple[float, float]:
    """Bounds of the 90 % interval around :func:`lost_kg` [kg]."""
    spread = math.exp(Z90 * account["log_sd"])
    middle = lost_kg(account)
    return middle / spread, middle * spread
