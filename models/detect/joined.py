"""Episodes at the same hours: one fault that shows in several channels, or faults of their own.

What a stronger episode physically makes belongs to it: slow juice is older and sourer, juice limed
too low is sour all the way, hot juice stays hot as far as nothing heats it anew. What it cannot
make is a second fault: a tank too full is no child of a low pH, however much the pH costs. The
tonnes of both are Shapley shares of the same excess, so that two findings never count a kilogram
twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from models.base import Minutes
from models.detect.channels import OLD_JUICE_MIN, Channel, stop_runs
from models.search import Residual, Span

#: Channels that each kind of episode makes, or is made by, as one fault.
_MAKES: dict[str, frozenset[str]] = {
    "ph": frozenset({"drop"}),
    "drop": frozenset({"ph"}),
    "throughput": frozenset({"drop"}),
    "mud": frozenset({"drop"}),
    # Juice that stood is sour, and warm or cold, when it moves again; levels and lime need time.
    "standing": frozenset({"ph", "drop", "heat", "hold", "mud", "throughput"}),
}
#: A fall of pH is one fall, whichever probe saw more of it; what else an episode makes is smaller
#: than itself by at least so much (estimate).
_ONE_FALL = frozenset({"ph", "drop"})
_LEAST_RATIO = 1.5
#: Half the width of a 90 % interval in standard errors, and the relative error of an episode
#: that no laboratory takes away (estimate; see `models.find.rank`).
_Z90, _FORM_ERROR = 1.645, 0.05
#: Evidence that a second episode needs of its own, after the first has made its noise louder.
_OWN_Z = 3.0


@dataclass(frozen=True)
class Candidate:
    """An episode of one channel and the lesser episodes of others that it explains.

    Attributes
    ----------
    channel : Channel
    residual : Residual
    span : Span
    joined : tuple of (Channel, Residual, Span)
        Weaker episodes at the same time.
    beside : tuple of (Channel, Span)
        Episodes at the same time that are findings of their own.
    """

    channel: Channel
    residual: Residual
    span: Span
    joined: tuple[tuple[Channel, Residual, Span], ...] = field(default=())
    beside: tuple[tuple[Channel, Span], ...] = field(default=())

    @property
    def kg(self) -> float:
        """Excess of the episode over all channels joined [kg sucrose]."""
        return self.span.kg + sum(span.kg for _, _, span in self.joined)

    @property
    def parts(self) -> tuple[tuple[Channel, Residual, Span], ...]:
        """The episode itself, then those joined."""
        return ((self.channel, self.residual, self.span), *self.joined)


def join(found: list[Candidate], usual_kg_h: float = 0.0) -> list[Candidate]:
    """Give each weaker episode to a stronger one that makes it, or in whose error it drowns.

    Parameters
    ----------
    found : list of Candidate
        Episodes of all channels.
    usual_kg_h : float
        Usual loss of the train [kg/h]. Factors multiply, so an episode that doubles the loss
        makes the everyday noise of every other channel louder; 0 leaves that out.

    Returns
    -------
    list of Candidate
        In order of time. Only an episode that lies at least half within a stronger one can be
        taken up; every other stays a finding of its own.
    """
    order = sorted(found, key=lambda c: -c.span.kg)
    kept: list[Candidate] = []
    for item in order:
        home = next((k for k in kept if _takes_up(k, item, usual_kg_h)), None)
        if home is None:
            kept.append(item)
            continue
        joined = (*home.joined, (item.channel, item.residual, item.span))
        kept[kept.index(home)] = replace(home, joined=joined)
    return sorted(kept, key=lambda c: c.span.start)


def with_company(found: list[Candidate]) -> list[Candidate]:
    """Tell each candidate which others share at least half of the shorter one's hours."""
    return [
        replace(
            item,
            beside=tuple(
                (other.channel, other.span)
                for other in found
                if other is not item and _shares_hours(item.span, other.span)
            ),
        )
        for item in found
    ]


def running_only(item: Candidate, minutes: Minutes) -> Candidate:
    """Take the minutes of stops out of the tonnes of an episode that lasted through them.

    The loss of a stop is the stop's, all of it: an episode of running juice that went on behind it
    would count the same kilograms again.
    """
    parts = [
        (channel, residual, _less_stops(channel, span, minutes))
        for channel, residual, span in item.parts
    ]
    return replace(item, span=parts[0][2], joined=tuple(parts[1:]))


def running_min(channel: Channel, span: Span, minutes: Minutes) -> int:
    """Minutes of an episode that count: without stops, but for the episode of a stop."""
    whole = span.end - span.start
    if channel.name == "standing":
        return whole
    return whole - sum(
        max(min(end, span.end) - max(start, span.start), 0) for start, end in stop_runs(minutes)
    )


def _less_stops(channel: Channel, span: Span, minutes: Minutes) -> Span:
    share = running_min(channel, span, minutes) / max(span.end - span.start, 1)
    return span if share == 1.0 else replace(span, kg=share * span.kg)


def _shares_hours(one: Span, other: Span) -> bool:
    shorter = min(one.end - one.start, other.end - other.start)
    return min(one.end, other.end) - max(one.start, other.start) >= 0.5 * shorter


def _takes_up(strong: Candidate, weak: Candidate, usual_kg_h: float) -> bool:
    after = OLD_JUICE_MIN if strong.channel.name == "standing" else 0
    overlap = min(strong.span.end + after, weak.span.end) - max(strong.span.start, weak.span.start)
    if overlap < 0.5 * (weak.span.end - weak.span.start):
        return False
    if _makes(strong.channel, weak.channel):
        one_fall = {strong.channel.name, weak.channel.name} <= _ONE_FALL
        return strong.span.kg >= (1.0 if one_fall else _LEAST_RATIO) * weak.span.kg
    return _drowns(strong, weak, usual_kg_h)


def _makes(strong: Channel, weak: Channel) -> bool:
    if weak.name == "heat" and strong.name == "heat":
        return strong.family == weak.family
    if strong.name == "heat" and weak.name == "drop":
        # What is boiled behind the clear-juice probe sours nothing that the probe sees.
        return strong.family != "evaporation"
    return weak.name in _MAKES.get(strong.name, frozenset())


def _drowns(strong: Candidate, weak: Candidate, usual_kg_h: float) -> bool:
    """Whether an episode is no more than the error, or the louder noise, of a stronger one."""
    if weak.channel.name == "standing":
        return False  # read off the feed: there is no doubt that it happened
    hours = (weak.span.end - weak.span.start) / 60.0
    rate = strong.span.kg / max((strong.span.end - strong.span.start) / 60.0, 1.0 / 60.0)
    # Half of a product's cross term is its Shapley share.
    louder = 1.0 + 0.5 * max(rate, 0.0) / usual_kg_h if usual_kg_h > 0.0 else 1.0
    error = math.hypot(
        strong.span.kg_sd,
        louder * weak.span.kg_sd,
        strong.channel.standing_error * hours,
        _FORM_ERROR * strong.span.kg,
    )
    return weak.span.kg <= _Z90 * error or weak.span.z < _OWN_Z * louder
