"""What every judgement of a cause is made of: means, usual values, facts, clues."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from features.base import Station, VesselKind
from models.base import Array
from models.detect import Candidate, Context


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


@dataclass(frozen=True)
class Clue:
    """What speaks for one cause.

    Attributes
    ----------
    cause : str
    size_ph, sd_ph : float
        Fall of pH that it makes, and the error of that [pH].
    chance : float or None
        How far it convinces, 0 to 1, where it has no size; None where it has one.
    facts : list of dict
        What shows it.
    """

    cause: str
    size_ph: float = 0.0
    sd_ph: float = 0.0
    chance: float | None = None
    facts: list[dict[str, object]] = field(default_factory=list)


def fact(text: str, value: float, unit: str) -> dict[str, object]:
    """One line of evidence."""
    return {"text": text, "value": round(float(value), 4), "unit": unit}


def mean_in(values: Array, item: Candidate) -> float:
    """Mean of what is known in an episode; NaN where nothing is."""
    part = values[item.span.start : item.span.end]
    return float(np.nanmean(part)) if np.isfinite(part).any() else float("nan")


def usual_of(values: Array, context: Context) -> float:
    """Median of quiet minutes; NaN without any."""
    part = values[context.quiet & np.isfinite(values)]
    return float(np.median(part)) if len(part) else float("nan")


def probe_words(station: Station, kind: VesselKind) -> str:
    """Name of the pH tag of a kind of vessel, for a reader who has to find it."""
    for vessel in station.of_kind(kind):
        signal = station.signal("ph", vessel.name)
        if signal is not None:
            return f" ({signal.tag})"
    return ""
