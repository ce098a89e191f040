"""Episodes joined where one cause shows in several channels."""

from __future__ import annotations

from dataclasses import dataclass, field

from models.detect.channels import Channel
from models.search import Residual, Span


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
    """

    channel: Channel
    residual: Residual
    span: Span
    joined: tuple[tuple[Channel, Residual, Span], ...] = field(default=())

    @property
    def kg(self) -> float:
        """Excess of the episode over all channels joined [kg sucrose]."""
        return self.span.kg + sum(span.kg for _, _, span in self.joined)


def join(found: list[Candidate]) -> list[Candidate]:
    """Give each weaker episode to the stronger one it lies in.

    An episode is taken up where at least half of it lies within a stronger one (of at least
    1.5 times its excess). What overlaps without such an order stays on its own.
    """
    order = sorted(found, key=lambda c: -c.span.kg)
    kept: list[Candidate] = []
    for item in order:
        home = next((k for k in kept if _explains(k, item)), None)
        if home is None:
            kept.append(item)
            continue
        joined = (*home.joined, (item.channel, item.residual, item.span))
        kept[kept.index(home)] = Candidate(home.channel, home.residual, home.span, joined)
    return sorted(kept, key=lambda c: c.span.start)


def _explains(strong: Candidate, weak: Candidate) -> bool:
    overlap = min(strong.span.end, weak.span.end) - max(strong.span.start, weak.span.start)
    inside = overlap >= 0.5 * (weak.span.end - weak.span.start)
    return inside and strong.span.kg >= 1.5 * weak.span.kg
