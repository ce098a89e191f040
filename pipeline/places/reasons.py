"""Why a tag was given its place, or none, in plain words with the evidence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.places.arrange import Arrangement
from pipeline.places.evidence import Seen, said_of
from pipeline.places.letters import no_measurement
from pipeline.places.own_units import has_unit
from pipeline.places.points import POINTS, SPOKEN, Point
from pipeline.places.relations import RELATIONS, Relation

Floats = NDArray[np.float64]

#: Evidence by what holds between two tags that is worth a word.
_WORTH_TELLING: Final = 0.9
#: From what on a name names a point, to what a level fits none, and what is worth guessing at.
_WELL_NAMED, _FITS_NOT, _COULD = 4.0, -3.0, -2.0
_ROLE_WORDS: Final = {
    "r_set_point": "a set-point",
    "r_output": "the output of a controller or the position of a valve",
    "r_total": "a sum",
    "r_speed": "a speed",
    "r_current": "a motor's current, power or load",
    "r_status": "a state or an alarm",
    "r_error": "a difference or something worked out",
}


def point_words(point: Point) -> str:
    """A point in words, such as ``pH at the settler, out``."""
    what = point.quantity.replace("_", " ")
    spot = point.place.replace("_", " ")
    return f"{what} of {spot}" + (f", {point.port}" if point.port else "")


def placed_why(
    one: Seen, point: Point, level: float, feed: float, arrangement: Arrangement, tag: int,
    names: Sequence[str],
) -> str:  # fmt: skip
    """Evidence for a place: name, unit, level, neighbours."""
    text = _by_name(one, point)
    if has_unit(one.tag):
        text.append(f"unit {one.tag.unit.strip()}")
    if point.share and math.isfinite(feed) and point.quantity in ("flow", "imbibition_flow"):
        text.append(f"{100.0 * level / feed:.0f} % of the juice flow")
    else:
        text.append(f"usual level {one.tag.middle:.3g} as exported")
    return ", ".join(text + _by_neighbours(arrangement, tag, names))


def _by_name(one: Seen, point: Point) -> list[str]:
    """Words and letters of the name that speak for the point, each once."""
    text = []
    letters = one.name.letters or one.words.letters
    if point.quantity in one.lettered:
        text.append(f'letters "{letters.upper()}" (ISA-5.1)')
    for parts, where in ((one.name, "in the name"), (one.words, "in the words beside it")):
        if said_of(parts, point) <= 0.0:
            continue
        wanted = [*point.own, *point.sides, *SPOKEN[point.quantity]]
        heard = dict.fromkeys(word for concept, word in parts.heard if _serves(concept, wanted))
        if heard:
            text.append(" ".join(f'"{word}"' for word in heard) + f" {where}")
    return text


def _serves(concept: str, wanted: Sequence[str]) -> bool:
    """Tell whether a concept is one that is wanted, or a part of one: heater of primary heater."""
    return any(concept == w or concept in w.split("_") for w in wanted)


def _by_neighbours(arrangement: Arrangement, tag: int, names: Sequence[str]) -> list[str]:
    """What holds between the tag and others that have a place."""
    text = []
    for number, relation in enumerate(RELATIONS):
        one, two = arrangement.at.get(relation.one), arrangement.at.get(relation.two)
        if one is None or two is None or tag not in (one, two):
            continue
        if arrangement.kept(number, relation, one, two) >= _WORTH_TELLING:
            text.append(_kept_words(relation, arrangement, one, two, tag == one, names))
    return [words for words in text if words][:2]


def _kept_words(
    relation: Relation, arrangement: Arrangement, one: int, two: int, first: bool,
    names: Sequence[str],
) -> str:  # fmt: skip
    other = names[two if first else one]
    if relation.kind == "later":
        minutes = abs(arrangement.lags.between(one, two).minutes)
        return f"changes {minutes:.0f} min {'before' if first else 'after'} {other}"
    if relation.kind == "together":
        return f"moves with {other}"
    return ""


def unplaced_why(one: Seen, maybe: Point | None, named: Floats, physical: Floats) -> str:
    """Why a tag has no place, and what it could be.

    Parameters
    ----------
    one : Seen
    maybe : Point or None
        Where it fits best, though not well enough.
    named, physical : ndarray, shape (points,)
        What its name, and what its unit and level say of each point.
    """
    unit = one.tag.unit.strip() if has_unit(one.tag) else ""
    level = f"usual level {one.tag.middle:.3g} {unit}".strip()
    if one.course.shape == "steps":
        return f"a value set by hand, by its steps without noise ({level}): no measurement"
    best = int(np.argmax(named))
    if named[best] >= _WELL_NAMED and physical[best] <= _FITS_NOT:
        return (
            f"named like {point_words(POINTS[best])}, but its {level} does not fit there: CONFIRM"
        )
    if maybe is not None:
        return f"could be {point_words(maybe)} ({level}), but too little says so"
    if unit and not np.isfinite(physical).any():
        return f"nothing of the station is measured in {unit} ({level})"
    could = sorted({p.quantity.replace("_", " ") for p, fit in zip(POINTS, physical + named,
                    strict=True) if fit > _COULD})  # fmt: skip
    what = "could be " + " or ".join(could[:3]) if could else "nothing of the station by its name"
    return f"{what}, {level}, but fits no free point of a station" if could else f"{what} ({level})"


def no_measurement_why(one: Seen) -> str:
    """Why a tag measures nothing of the station, in words; empty for one that may."""
    for role in sorted(one.roles):
        if role == "r_total" and one.course.shape == "measured":
            # "Total juice flow" is no sum: a sum rises.
            continue
        word = one.name.word_for(role) or one.words.word_for(role)
        return f'{_ROLE_WORDS[role]} by the word "{word}": no measurement of the station'
    letters = one.name.letters or one.words.letters
    if letters and (what := no_measurement(letters)):
        return f'{what} by the letters "{letters.upper()}" (ISA-5.1): no measurement of the station'
    if one.course.shape == "sum":
        return "only rises: a sum, no measurement of the station"
    if one.course.shape == "switch":
        return "is either 0 or 1: a state, no measurement of the station"
    return ""
