"""Candidate findings: episodes of all channels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.amount import Excess
from models.base import MINUTES_PER_BLOCK, Minutes, Settings, nan_sum
from models.detect.channels import STANDING, Channel, stop_runs
from models.detect.context import Context
from models.detect.joined import Candidate, join
from models.detect.microbial import MicrobialSpan
from models.search import (
    Look,
    OutlierScore,
    Residual,
    Span,
    find_spans,
    look_at,
    measure,
    rate_of,
    residual_of,
    strength_of,
)

SHORTEST_STOP_MIN = 90
#: Periods that chance makes no more often in a channel are left out of its usual [1/week].
_HARDLY_CHANCE = 0.02
#: Share of the false findings allowed that goes to hours which no channel speaks for (judgement).
_UNEXPLAINED_SHARE = 0.1
#: Juice left to stand in a full station loses about the usual hourly loss or more; under this
#: share of it the station had been emptied.
_HELD_SHARE = 0.33
#: Smallest mean excess of an episode as a share of the usual loss. Feed rate and pH swing in
#: ordinary operation; temperatures and levels are held, so that less says more.
_LEAST_SHARE = {"ph": 0.2, "drop": 0.2, "throughput": 0.2, "heat": 0.06, "hold": 0.06, "mud": 0.06}


def find_candidates(
    minutes: Minutes,
    channels: list[Channel],
    settings: Settings,
    reference_kg_h: float,
    looked: list[tuple[Channel, Residual]] | None = None,
) -> list[Candidate]:
    """Search every channel, twice: the second time the baseline no longer sees what was found.

    Parameters
    ----------
    minutes : Minutes
    channels : list of Channel
    settings : Settings
    reference_kg_h : float
        Usual loss at targets [kg/h]; an excess under a fifth of it (6 % of heat, of tanks held and
        of mud) is not worth a finding.
    looked : list, optional
        Each channel is added to it as it was searched, whether anything was found or not.
    """
    # Stops are read off the feed: chance has no share in them.
    rate = settings.false_findings_per_week / max(sum(c.name != STANDING for c in channels), 1)
    quiet = {c.name + c.section: np.ones(minutes.n, dtype=bool) for c in channels}
    looks = {c.name + c.section: _looks(c) for c in channels if c.name != STANDING}
    found: list[Candidate] = []
    seen: list[tuple[Channel, Residual]] = []
    for _ in range(2):
        found, seen = [], []
        for channel in channels:
            smallest = (settings.smallest_kg, reference_kg_h)
            key = channel.name + channel.section
            if channel.name == STANDING:
                residual = Residual(channel.kg_h, np.empty(0), np.zeros(minutes.n), 0.0)
            else:
                residual = residual_of(channel.kg_h, quiet[key], *looks[key])
            spans = _spans(minutes, channel, residual, rate, smallest)
            found += [Candidate(channel, residual, s) for s in spans]
            seen.append((channel, residual))
        for item in found:
            # What chance does now and then belongs to the usual unrest and stays in it.
            if item.span.per_week <= _HARDLY_CHANCE:
                _mark(quiet[item.channel.name + item.channel.section], item.span)
    if looked is not None:
        looked += seen
    return join(found, reference_kg_h)


def _mark(quiet: NDArray[np.bool_], span: Span) -> None:
    quiet[max(span.start - 60, 0) : span.end + 60] = False


def _looks(channel: Channel) -> tuple[Look, Look | None]:
    """The channel, and the witness of one fault of it, in the units they are judged in."""
    own = look_at(channel.kg_h, channel.usual_kg_h)
    if channel.witness is None:
        return own, None
    return own, look_at(channel.witness, None, smooth=True)


def _spans(
    minutes: Minutes,
    channel: Channel,
    residual: Residual,
    rate: float,
    smallest: tuple[float, float],
) -> list[Span]:
    """Episodes of one channel; `smallest` holds the least loss [kg] and the usual one [kg/h]."""
    kg_min, reference_kg_h = smallest
    if channel.name == STANDING:
        return _standing(minutes, residual, kg_min, _HELD_SHARE * reference_kg_h)
    error = channel.standing_error
    least = max(_LEAST_SHARE[channel.name] * reference_kg_h, 2.0 * error)
    return find_spans(residual, rate, least, kg_min, fades=error > 0.0)


def _standing(minutes: Minutes, bare: Residual, kg_min: float, rate_min: float) -> list[Span]:
    """Stops are not inferred but read off the feed: each long one that cost enough.

    A station that was emptied in time loses little an hour and is no finding.
    """
    long = [(a, b) for a, b in stop_runs(minutes) if b - a >= SHORTEST_STOP_MIN]
    spans = [measure(bare, a, b, 20.0) for a, b in long]
    return [s for s in spans if s.kg >= kg_min and s.kg >= rate_min * (s.end - s.start) / 60.0]


def find_unexplained(
    context: Context,
    excess: Excess,
    multiplier: float,
    outliers: OutlierScore,
    microbial: list[MicrobialSpan],
    settings: Settings,
) -> list[Candidate]:
    """Hours unlike any quiet hour that lose sucrose, though no single channel accuses itself.

    Outlying runs of at least two hours outside every other candidate, whose whole excess above
    the usual is both significant and worth a line.
    """
    minutes = context.minutes
    free = context.quiet.copy()
    for spell in microbial:
        free[spell.start : spell.end] = False
    total = np.where(free, multiplier * excess.total, np.nan)
    usual = multiplier * float(np.nanmedian(nan_sum(excess.reference_kg_h)))
    channel = Channel("unexplained", "train", tuple(minutes.zones), total, usual_kg_h=usual)
    residual = residual_of(total, free, look_at(total, usual))
    rate = _UNEXPLAINED_SHARE * settings.false_findings_per_week
    found = []
    for first, last in outliers.runs(0.02, 8):
        start, end = first * MINUTES_PER_BLOCK, min(last * MINUTES_PER_BLOCK, minutes.n)
        z, per_week = _chance_of(residual, first, last)
        span = measure(residual, start, end, z)
        material = span.kg >= settings.smallest_kg
        if per_week <= rate and material and free[start:end].all():
            sure = residual.look is not None and residual.look.chance.sure
            span = replace(span, per_week=per_week, sure=sure)
            found.append(Candidate(channel, residual, span))
    return found


def _chance_of(residual: Residual, first: int, last: int) -> tuple[float, float]:
    """Strength of quarter-hours that something else pointed at, and how often chance does it."""
    if residual.look is None:
        return 0.0, math.inf
    z = strength_of(residual.look, first, last)
    return z, rate_of(residual.look, first, last, z)
