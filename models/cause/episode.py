"""What every judgement of a cause is made of: means, usual values, facts, clues."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from features.base import Station, VesselKind
from models.base import Array
from models.detect import MUD_SUFFIX, Candidate, Context

#: A name in a form that something stands for.
_BRACES: Final = re.compile(r"\{(\w+)\}")


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


def fact(
    form: str,
    value: float,
    unit: str,
    *,
    usual: float | None = None,
    target: float | None = None,
    **parts: str,
) -> dict[str, object]:
    """One line of evidence: a subject with its value, beside its usual and its target.

    Parameters
    ----------
    form : str
        The subject, begun small. ``{place}`` and other names in braces stand for `parts`.
    value : float
        [`unit`].
    usual, target : float, optional
        The same usually, and as it should be [`unit`].
    **parts : str
        What stands for the names in braces: ``place`` a zone, others text such as a tag.

    Returns
    -------
    dict
        ``text``, complete in English; ``form`` and ``parts``, from which another language makes
        its own; ``value``, ``unit`` and, where known, ``usual`` and ``target``.
    """
    said = {name: place_in(part) if name == "place" else part for name, part in parts.items()}
    made: dict[str, object] = {
        "text": _BRACES.sub(lambda name: said.get(name[1], name[0]), form),
        "value": round(float(value), 4),
        "unit": unit,
    }
    if parts:
        made |= {"form": form, "parts": parts}
    beside = {"usual": usual, "target": target}
    return made | {
        name: round(float(v), 4) for name, v in beside.items() if v is not None and math.isfinite(v)
    }


def place_in(zone: str) -> str:
    """A zone as it stands within a sentence: ``the settler``, ``the mud of the settler``."""
    name = zone.removesuffix(MUD_SUFFIX).replace("_", " ")
    return f"the mud of the {name}" if zone.endswith(MUD_SUFFIX) else f"the {name}"


def mean_in(values: Array, item: Candidate) -> float:
    """Mean of what is known in an episode; NaN where nothing is."""
    part = values[item.span.start : item.span.end]
    return float(np.nanmean(part)) if np.isfinite(part).any() else float("nan")


def usual_of(values: Array, context: Context) -> float:
    """Median of quiet minutes; NaN without any."""
    part = values[context.quiet & np.isfinite(values)]
    return float(np.median(part)) if len(part) else float("nan")


def probe_words(station: Station, kind: VesselKind) -> str:
    """Name of the pH tag of a kind of vessel, for a reader who has to find it; empty without."""
    for vessel in station.of_kind(kind):
        signal = station.signal("ph", vessel.name)
        if signal is not None:
            return f" ({signal.tag})"
    return ""
