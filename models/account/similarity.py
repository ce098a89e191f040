"""Which earlier losses of a mill resemble one: a distance with parts that can be read one by one.

No learning and no chance in it: five differences, each from 0 (alike) to 1 (nothing in common),
weighed by how much they say about what to do (estimate).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

#: Weight of each difference in the distance; they sum to 1 (estimate: what drove the loss and why
#: says more about the cure than how large it was).
WEIGHTS: dict[str, float] = {
    "drivers": 0.35,
    "cause": 0.30,
    "section": 0.15,
    "size": 0.10,
    "length": 0.10,
}
#: Two losses that differ this many times in size or length have nothing in common there (estimate).
_FAR_RATIO = 10.0


@dataclass(frozen=True)
class Episode:
    """A loss, as far as likeness goes.

    Attributes
    ----------
    finding_id : str
    section : str
        Zone name, or ``train``.
    causes : mapping of str to float
        Weight of each cause considered [-]; they need not sum to 1.
    shares : mapping of str to float
        Share of each driver [-], negative where it held the loss down.
    started, ended : datetime
    lost_t : float
        Sucrose lost [t].
    """

    finding_id: str
    section: str
    causes: Mapping[str, float]
    shares: Mapping[str, float]
    started: datetime
    ended: datetime
    lost_t: float

    @property
    def hours(self) -> float:
        """Length [h]."""
        return (self.ended - self.started).total_seconds() / 3600.0


@dataclass(frozen=True)
class Likeness:
    """How near another episode is.

    Attributes
    ----------
    episode : Episode
        The other one.
    distance : float
        0 (alike in everything looked at) to 1.
    parts : dict of str to float
        Difference by each of `WEIGHTS`, unweighted, 0 to 1.
    size_ratio, length_ratio : float
        The other's tonnes and hours over this one's [-]; NaN where not known.
    """

    episode: Episode
    distance: float
    parts: dict[str, float]
    size_ratio: float
    length_ratio: float


def similar(
    one: Episode, others: Iterable[Episode], most: int = 5, farthest: float = 0.45
) -> list[Likeness]:
    """Episodes that resemble one, nearest first.

    Parameters
    ----------
    one : Episode
    others : iterable of Episode
        Those of the same mill; `one` itself is left out.
    most : int
        Longest list.
    farthest : float
        Distance beyond which an episode is not similar.

    Returns
    -------
    list of Likeness
        Ties by time, then by id, so that equal inputs give equal lists.
    """
    measured = [likeness(one, other) for other in others if other.finding_id != one.finding_id]
    near = [item for item in measured if item.distance <= farthest]
    near.sort(key=lambda i: (round(i.distance, 9), i.episode.started, i.episode.finding_id))
    return near[:most]


def likeness(one: Episode, other: Episode) -> Likeness:
    """Distance between two episodes, with its parts; the same either way round."""
    size, length = _ratio(other.lost_t, one.lost_t), _ratio(other.hours, one.hours)
    parts = {
        "drivers": _unlike(one.shares, other.shares),
        "cause": _unlike(one.causes, other.causes),
        "section": 0.0 if one.section == other.section else 1.0,
        "size": _far(size),
        "length": _far(length),
    }
    distance = sum(WEIGHTS[name] * part for name, part in parts.items())
    return Likeness(other, distance, parts, size, length)


def _unlike(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    """Half the summed difference of two sets of shares: 0 the same, 1 nothing in common."""
    left, right = _whole(one), _whole(other)
    if not left or not right:
        return 0.0 if left == right else 1.0
    names = sorted({*left, *right})
    apart = sum(abs(left.get(n, 0.0) - right.get(n, 0.0)) for n in names)
    return min(0.5 * apart, 1.0)


def _whole(shares: Mapping[str, float]) -> dict[str, float]:
    """Shares scaled so that their sizes sum to 1; unknown ones left out."""
    known = {name: value for name, value in shares.items() if math.isfinite(value)}
    size = sum(abs(value) for value in known.values())
    return {name: value / size for name, value in known.items()} if size > 0.0 else {}


def _ratio(part: float, whole: float) -> float:
    if not (part > 0.0 and whole > 0.0 and math.isfinite(part) and math.isfinite(whole)):
        return math.nan
    return part / whole


def _far(ratio: float) -> float:
    """How far apart two amounts are, by their ratio; unknown counts as half-way."""
    if math.isnan(ratio):
        return 0.5
    return min(abs(math.log(ratio)) / math.log(_FAR_RATIO), 1.0)
