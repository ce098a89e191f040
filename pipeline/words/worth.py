"""Words for what an answer is worth: what shows, what is missing and what that costs, how sure."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from models.worth import WHERE, Cure, Point
from pipeline.base import figure, joined, said
from pipeline.words.wording import place_within

#: What a station should measure: its name in a sentence, and what goes unseen without it.
NEEDS: Final[dict[str, tuple[str, str]]] = {
    "flow": (
        said("the juice flow, and with it every residence time"),
        said("no stop and no slow running can show, and all tonnes rest on the target flow"),
    ),
    "ph_limed": (
        said("the pH of limed juice"),
        said(
            "limed juice run too acid shows only as a fall of pH behind it, without "
            "its cause, and not before the settler"
        ),
    ),
    "ph_clear": (
        said("the pH of clear juice"),
        said("what sours in the settler and behind it cannot show; most of the loss lies there"),
    ),
    "temp_settler": (
        said("the temperature of the settler"),
        said("an overheated settler cannot show, and what juice loses in a stop is a guess"),
    ),
    "level_settler": (
        said("how full the settler is, also in a stop"),
        said("where nothing else tells whether the settler stood full, a stop is not claimed"),
    ),
    "filtrate": (
        said(
            "the flow of returned filtrate, or its share under [filtrate] (0 where "
            "none is returned)"
        ),
        said(
            "juice behind its return is some 10 % faster than reckoned, and its stay "
            "that much shorter"
        ),
    ),
    "mud": (
        said("how much mud is held"),
        said("mud held too long cannot show"),
    ),
    "mud_level": (
        said("the level of the mud"),
        said("how much mud is held follows from the underflow alone, within some 40 %"),
    ),
    "level_liming_tank": (
        said("how full the liming tank is"),
        said("juice held too long there cannot show"),
    ),
    "temp_liming_tank": (
        said("the temperature of the liming tank"),
        said("neither overheating nor microbes in it can show"),
    ),
    "level_clear_juice_tank": (
        said("how full the clear-juice tank is"),
        said("juice held too long there, hot and sour, cannot show"),
    ),
    "temp_clear_juice_tank": (
        said("the temperature of the clear-juice tank"),
        said("neither overheating nor microbes in it can show"),
    ),
    "temp_clear_juice_heater": (
        said("the temperature of the clear-juice heater"),
        said("overheating there cannot show"),
    ),
    "temp_evaporator": (
        said("the temperature of the first evaporator vessel"),
        said("overheating there cannot show, though that vessel is the hottest"),
    ),
    "level_evaporator": (
        said("the level of the first evaporator vessel"),
        said("a vessel run too full cannot show, though that vessel is the hottest"),
    ),
    "grabs_limed": (
        said("laboratory pH of limed juice"),
        said("a probe that drifts cannot be told from juice that is truly too acid, or hides it"),
    ),
    "grabs_clear": (
        said("laboratory pH of clear juice"),
        said("a clear-juice probe that drifts is taken at its word"),
    ),
    "lactic": (
        said("lactic acid before and behind a tank"),
        said(
            "sucrose eaten by microbes shows by lime and pol alone, less surely, and "
            "its tonnes are good to a factor of two or three"
        ),
    ),
    "microbes": (
        said("lime flow beside the pH of limed juice, or pol on both sides of a tank"),
        said("sucrose eaten by microbes cannot show, and a cool tank even looks thrifty"),
    ),
}
#: Needs that the laboratory meets, not a tag.
OF_LABORATORY: Final = frozenset({"grabs_limed", "grabs_clear", "lactic", "microbes"})
_ANALYTES: Final = {
    "rs": said("reducing sugars"),
    "brix": "Brix",
    "pol": "pol",
    "purity": said("purity"),
    "potassium": said("potassium"),
    "chloride": said("chloride"),
}


def listed(words: Sequence[str]) -> str:
    """Write a list within a sentence: ``a, b and c``."""
    return (
        words[0]
        if len(words) == 1
        else said("{words} and {words2}", words=joined(", ", words[:-1]), words2=words[-1])
    )


def factor_words(factor: float) -> str:
    """Write a factor either way with the digits a planner can use: ``2.7``."""
    return figure(factor, ".1f")


def analyses_words(points: Collection[Point], last: str) -> str:
    """Write analyses with their sampling points: ``reducing sugars and pol on clear juice``."""
    wheres = [where for where in WHERE if any(point[1] == where for point in points)]
    told = [
        (where, [words for analyte, words in _ANALYTES.items() if (analyte, where) in points])
        for where in wheres
    ]
    if all(words == told[0][1] for _, words in told):
        return said(
            "{listed} on {juices}", listed=listed(told[0][1]), juices=juices_words(wheres, last)
        )
    return listed(
        [
            said("{listed} on {juices}", listed=listed(words), juices=juices_words([where], last))
            for where, words in told
        ]
    )


def juices_words(wheres: Sequence[str], last: str) -> str:
    """Write sampling points as the juice there: ``mixed juice and clear juice``."""
    names = {
        "mixed": said("mixed juice"),
        "limed": said("limed juice"),
        "clear": said("clear juice"),
        "last": said("juice out of {vessel}", vessel=place_within(last)),
    }
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
    until = said("until the factor is {factor_words}", factor_words=factor_words(cure.factor))
    if not cure.add:
        return said(
            "go on sampling as now; {samples} samples are there, about {more} more {until}",
            samples=samples,
            more=max(cure.samples - samples, 0),
            until=until,
        )
    silent = [point for point in cure.add if point in described]
    new = [point for point in cure.add if point not in described]
    asked = []
    if new:
        asked.append(said("analyse {analyses} too", analyses=analyses_words(new, cure.last)))
    if silent:
        asked.append(
            said(
                "bring in {analyses}, of which no result is there",
                analyses=analyses_words(silent, cure.last),
            )
        )
    effort = (
        said("{count} analyses", count=cure.samples * len(new))
        if new
        else said("{count} samples of each", count=cure.samples)
    )
    return said(
        "{listed}, about {effort} {until}", listed=listed(asked), effort=effort, until=until
    )


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
    where = said("what the laboratory told last season") if carried else said("the description")
    whose = said("this season's") if carried else said("this mill's")
    rough = said("; {pairs} samples were too rough to tell", pairs=pairs) if pairs else ""
    text = said(
        "The level of the loss rests on {where}, not on {whose} "
        "laboratory{rough}: all tonnes may be off by a factor of {factor_words} "
        "either way.",
        where=where,
        whose=whose,
        rough=rough,
        factor_words=factor_words(factor),
    )
    return said("{text} Cheapest cure: {cure}.", text=text, cure=cure) if cure else text
