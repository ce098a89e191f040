"""Words for what an answer is worth: what shows, what is missing and what that costs, how sure."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from models.worth import WHERE, Cure, Point
from pipeline.words.wording import spoken_name

#: What a station should measure: its name in a sentence, and what goes unseen without it.
NEEDS: Final[dict[str, tuple[str, str]]] = {
    "flow": (
        "the juice flow, and with it every residence time",
        "no stop and no slow running can show, and all tonnes rest on the target flow",
    ),
    "ph_limed": (
        "the pH of limed juice",
        "limed juice run too acid shows only as a fall of pH behind it, without its cause, and "
        "not before the settler",
    ),
    "ph_clear": (
        "the pH of clear juice",
        "what sours in the settler and behind it cannot show; most of the loss lies there",
    ),
    "temp_settler": (
        "the temperature of the settler",
        "an overheated settler cannot show, and what juice loses in a stop is a guess",
    ),
    "level_settler": (
        "how full the settler is, also in a stop",
        "where nothing else tells whether the settler stood full, a stop is not claimed",
    ),
    "filtrate": (
        "the flow of returned filtrate, or its share under [filtrate] (0 where none is returned)",
        "juice behind its return is some 10 % faster than reckoned, and its stay that much shorter",
    ),
    "mud": (
        "how much mud is held",
        "mud held too long cannot show",
    ),
    "mud_level": (
        "the level of the mud",
        "how much mud is held follows from the underflow alone, within some 40 %",
    ),
    "level_liming_tank": (
        "how full the liming tank is",
        "juice held too long there cannot show",
    ),
    "temp_liming_tank": (
        "the temperature of the liming tank",
        "neither overheating nor microbes in it can show",
    ),
    "level_clear_juice_tank": (
        "how full the clear-juice tank is",
        "juice held too long there, hot and sour, cannot show",
    ),
    "temp_clear_juice_tank": (
        "the temperature of the clear-juice tank",
        "neither overheating nor microbes in it can show",
    ),
    "temp_clear_juice_heater": (
        "the temperature of the clear-juice heater",
        "overheating there cannot show",
    ),
    "temp_evaporator": (
        "the temperature of the first evaporator vessel",
        "overheating there cannot show, though that vessel is the hottest",
    ),
    "level_evaporator": (
        "the level of the first evaporator vessel",
        "a vessel run too full cannot show, though that vessel is the hottest",
    ),
    "grabs_limed": (
        "laboratory pH of limed juice",
        "a probe that drifts cannot be told from juice that is truly too acid, or hides it",
    ),
    "grabs_clear": (
        "laboratory pH of clear juice",
        "a clear-juice probe that drifts is taken at its word",
    ),
    "lactic": (
        "lactic acid before and behind a tank",
        "sucrose eaten by microbes shows by lime and pol alone, less surely, and its tonnes are "
        "good to a factor of two or three",
    ),
    "microbes": (
        "lime flow beside the pH of limed juice, or pol on both sides of a tank",
        "sucrose eaten by microbes cannot show, and a cool tank even looks thrifty",
    ),
}
#: Needs that the laboratory meets, not a tag.
OF_LABORATORY: Final = frozenset({"grabs_limed", "grabs_clear", "lactic", "microbes"})
_ANALYTES: Final = {
    "rs": "reducing sugars",
    "brix": "Brix",
    "pol": "pol",
    "purity": "purity",
    "potassium": "potassium",
    "chloride": "chloride",
}


def listed(words: Sequence[str]) -> str:
    """Write a list within a sentence: ``a, b and c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def factor_words(factor: float) -> str:
    """Write a factor either way with the digits a planner can use: ``2.7``."""
    return f"{factor:.1f}"


def analyses_words(points: Collection[Point], last: str) -> str:
    """Write analyses with their sampling points: ``reducing sugars and pol on clear juice``."""
    wheres = [where for where in WHERE if any(point[1] == where for point in points)]
    told = [
        (where, [words for analyte, words in _ANALYTES.items() if (analyte, where) in points])
        for where in wheres
    ]
    if all(words == told[0][1] for _, words in told):
        return f"{listed(told[0][1])} on {juices_words(wheres, last)}"
    return listed([f"{listed(words)} on {juices_words([where], last)}" for where, words in told])


def juices_words(wheres: Sequence[str], last: str) -> str:
    """Write sampling points as the juice there: ``mixed juice and clear juice``."""
    names = {where: f"{where} juice" for where in WHERE}
    names["last"] = f"juice out of the {spoken_name(last)}"
    return listed([names[where] for where in wheres])


def cure_words(cure: Cure, described: Collection[Point], samples: int) -> str:
    """Say by which analyses the level becomes the laboratory's, and how many it takes.

    Parameters
    ----------
    cure : Cure
    described : collection of (str, str)
        Analyses that the description names, whether or not results come.
    samples : int
        Samples that the store holds already.
    """
    until = f"until the factor is {factor_words(cure.factor)}"
    if not cure.add:
        more = max(cure.samples - samples, 0)
        return f"go on sampling as now; {samples} samples are there, about {more} more {until}"
    silent = [point for point in cure.add if point in described]
    new = [point for point in cure.add if point not in described]
    asked = [f"analyse {analyses_words(new, cure.last)} too"] if new else []
    if silent:
        asked.append(f"bring in {analyses_words(silent, cure.last)}, of which no result is there")
    effort = f"{cure.samples * len(new)} analyses" if new else f"{cure.samples} samples of each"
    return f"{listed(asked)}, about {effort} {until}"


def level_words(factor: float, pairs: int, cure: str, *, carried: bool = False) -> str:
    """Say that a level rests on the description, how far off it may be, and the cure.

    Parameters
    ----------
    factor : float
        Half-width of the 90 % interval of the level, either way [-].
    pairs : int
        Laboratory samples that entered all the same.
    cure : str
        From `cure_words`, or why there is none; empty for nothing to say.
    carried : bool
        It comes from the season before, not from the description.
    """
    where = "what the laboratory told last season" if carried else "the description"
    whose = "this season's" if carried else "this mill's"
    rough = f"; {pairs} samples were too rough to tell" if pairs else ""
    text = (
        f"The level of the loss rests on {where}, not on {whose} laboratory{rough}: "
        f"all tonnes may be off by a factor of {factor_words(factor)} either way."
    )
    return f"{text} Cheapest cure: {cure}." if cure else text
