"""Where names and physics contradict each other: told, and asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.places.arrange import Arrangement
from pipeline.places.points import POINTS

Floats = NDArray[np.float64]

#: By how much levels and courses must speak for two tags having changed places before the names
#: are doubted, and before they are not believed (natural logarithm of odds, estimates).
_DOUBTED: Final = 2.5
_DISBELIEVED: Final = 4.5
#: A level this unlikely at the point of the name is told.
_UNLIKELY: Final = -3.0


@dataclass(frozen=True, slots=True)
class Doubt:
    """What speaks against a place, in words; whether names and physics were weighed already."""

    words: str
    weighed: bool = True


def doubts_of(
    arrangement: Arrangement, physical: Floats, named: Floats, names: Sequence[str]
) -> dict[int, Doubt]:
    """Doubts of an arrangement by tag; tags that names have at each other's place are exchanged.

    Parameters
    ----------
    arrangement : Arrangement
        Changed where physics speaks strongly against names.
    physical, named : ndarray, shape (tags, points)
        What level and course say, and what names say.
    names : sequence of str
    """
    found: dict[int, Doubt] = {}
    spots = sorted(arrangement.at)
    for n, here in enumerate(spots):
        for there in spots[n + 1 :]:
            if POINTS[here].quantity != POINTS[there].quantity:
                continue
            one, two = arrangement.at[here], arrangement.at[there]
            swapped = arrangement.at | {here: two, there: one}
            by_name = float(
                named[[one, two], [here, there]].sum() - named[[one, two], [there, here]].sum()
            )
            gain = arrangement.total(swapped) - arrangement.total(arrangement.at) + by_name
            if not np.isfinite(gain) or gain < _DOUBTED or by_name <= 0.0:
                continue
            words = f"levels and courses contradict the names of {names[one]} and {names[two]}"
            if gain >= _DISBELIEVED:
                arrangement.at = swapped
                words = f"taken as exchanged: {words}"
            else:
                words = f"CONFIRM, the names are believed: {words}"
            found[one] = found[two] = Doubt(words)
    for point, tag in arrangement.at.items():
        if tag not in found and physical[tag, point] < _UNLIKELY:
            found[tag] = Doubt(
                "its level is unusual for what its name says: CONFIRM", weighed=False
            )
    return found
