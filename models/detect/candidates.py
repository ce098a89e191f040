"""Candidate findings: episodes of all channels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.amount import Excess
from models.base import MINUTES_PER_BLOCK, Minutes, Settings
from models.detect.channels import Channel, stop_runs
from models.detect.context import Context
from models.detect.joined import Candidate, join
from models.detect.microbial import MicrobialSpan
from models.search import (
    OutlierScore,
    Residual,
    Span,
    find_spans,
    measure,
    residual_of,
    z_for_false_rate,
)

SHORTEST_STOP_MIN = 90
#: Juice left to stand in a full station loses about the usual hourly loss or more; under this
#: share of it the station had been emptied.
_HELD_SHARE = 0.33
#: Smallest mean excess of an episode as a share of the usual loss. Feed rate and pH swing in
#: ordinary operation; temperatures and levels are held, so that less says more.
_LEAST_SHARE = {"ph": 0.2, "drop": 0.2, "throughput": 0.2, "heat": 0.06, "hold": 0.06, "mud": 0.06}


def find_candidates(
    minutes: Minutes, channels: list[Channel], settings: Settings, reference_kg_h: float
) -> list[Candidate]:
    """Search every channel, twice.

    The second time the baseline no longer sees the first's episodes, and hours without any episode
    in any channel have told what chance can do.

    Parameters
    ----------
    minutes : Minutes
    channels : list of Channel
    settings : Settings
    reference_kg_h : float
        Usual loss at targets [kg/h]; an excess under 4 % of it is not worth a finding.
    """
    z_min = z_for_false_rate(settings.false_findings_per_week, len(channels))
    rate = settings.false_findings_per_week / len(channels)
    quiet = {c.name + c.section: np.ones(minutes.n, dtype=bool) for c in channels}
    nothing_known: NDArray[np.bool_] | None = None
    found: list[Candidate] = []
    for _ in range(2):
        found = []
        for channel in channels:
            own = quiet[channel.name + channel.section]
            residual = residual_of(channel.kg_h, own, nothing_known)
            smallest = (settings.smallest_finding_t, reference_kg_h)
            spans = _spans(minutes, channel, residual, z_min, rate, smallest)
            found += [Candidate(channel, residual, s) for s in spans]
        for item in found:
            _mark(quiet[item.channel.name + item.channel.section], item.span)
        nothing_known = np.logical_and.reduce(list(quiet.values()))
        for start, end in stop_runs(minutes):
            nothing_known[max(start - 30, 0) : end + 180] = False
    return join(found, reference_kg_h)


def _mark(quiet: NDArray[np.bool_], span: Span) -> None:
    quiet[max(span.start - 60, 0) : span.end + 60] = False


def _spans(
    minutes: Minutes,
    channel: Channel,
    residual: Residual,
    z_min: float,
    rate: float,
    smallest: tuple[float, float],
) -> list[Span]:
    """Episodes of one channel; `smallest` holds the least tonnes and the usual loss [kg/h]."""
    kg_min, reference_kg_h = 1000.0 * smallest[0], smallest[1]
    if channel.name == "standing":
        return _standing(minutes, channel, kg_min, _HELD_SHARE * reference_kg_h)
    least = max(_LEAST_SHARE[channel.name] * reference_kg_h, 2.0 * channel.standing_error)
    return find_spans(residual, z_min, least, kg_min, channel.standing_error, rate)


def _standing(minutes: Minutes, channel: Channel, kg_min: float, rate_min: float) -> list[Span]:
    """Stops are not inferred but read off the feed: each long one that cost enough.

    A station that was emptied in time loses little an hour and is no finding.
    """
    bare = Residual(channel.kg_h, np.empty(0), np.zeros(minutes.n), 0.0)
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
    channel = Channel("unexplained", "train", tuple(minutes.zones), total)
    residual = residual_of(total, free)
    z_min = z_for_false_rate(settings.false_findings_per_week, 1)
    found = []
    for first, last in outliers.runs(0.02, 8):
        start, end = first * MINUTES_PER_BLOCK, min(last * MINUTES_PER_BLOCK, minutes.n)
        span = measure(residual, start, end, 0.0)
        z = span.kg / span.kg_sd
        if z >= z_min and span.kg >= 1000.0 * settings.smallest_finding_t and free[start:end].all():
            found.append(Candidate(channel, residual, replace(span, z=z)))
    return found
