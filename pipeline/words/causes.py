"""Plain words for causes, and what to look at on the floor.

What to check and the cautions are common practice of the trade (no published source); they
are reminders for people who know their station, not instructions.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.base import said
from pipeline.words.wording import spoken_name

_HOT = said(
    "Hot juice and steam burn at once. Use the site's protective clothing and"
    " sampling points; never open a flange or a hatch on a vessel in service."
)
_LIME = said(
    "Milk of lime burns skin and eyes. Goggles and gloves on, eyewash within "
    "reach; isolate and lock out before freeing a blocked line."
)
_CONFINED = said(
    "Tanks, settlers and mud boxes are confined spaces: no head or body "
    "inside without the site's entry permit, gas test and a watcher."
)
_SET_POINT = said(
    "Change a set-point only through the shift's own procedure and with the "
    "person licensed to do so; move it in small steps and watch the settler."
)
_PROBE = said("Take the probe out only after the control loop is in manual and isolated.")
_CLEANING = said("Cleaning chemicals and steam need the site's permit and protective clothing.")


@dataclass(frozen=True, slots=True)
class CauseWords:
    """Words for one cause.

    Attributes
    ----------
    name : str
        The cause in a few plain words.
    meaning : str
        One or two sentences: what happens to the sucrose.
    checks : tuple of str
        What to look at on the floor, in a sensible order.
    cautions : tuple of str
        What can hurt someone while doing so.
    """

    name: str
    meaning: str
    checks: tuple[str, ...]
    cautions: tuple[str, ...]


CAUSES: dict[str, CauseWords] = {
    "low_limed_ph": CauseWords(
        said("Limed juice too acid"),
        said(
            "The limed juice ran below its pH target. In hot juice every 0.3 pH lower"
            " about doubles the rate at which sucrose turns into invert sugar."
        ),
        (
            said("Take a limed-juice grab, cool it and measure the pH; compare with the probe."),
            said(
                "Look at the lime flow against the juice flow: pump speed, strainer, "
                "level and strength of the milk of lime."
            ),
            said("Ask whether the pH target or the control mode was changed in this shift."),
        ),
        (_LIME, _HOT, _SET_POINT),
    ),
    "ph_probe_high": CauseWords(
        said("pH probe reading too high, so too little lime was fed"),
        said(
            "The probe showed more pH than the juice had. The lime control trusted it"
            " and fed too little, so the juice was more acid than anyone could see."
        ),
        (
            said(
                "Compare the probe with a cooled grab sample measured on a freshly "
                "calibrated meter."
            ),
            said(
                "Look for scale or grease on the probe; clean and calibrate it by the site's"
                " procedure."
            ),
            said("Until then let the laboratory pH guide the shift rather than the probe."),
        ),
        (_HOT, _LIME, _PROBE),
    ),
    "standing_juice": CauseWords(
        said("Juice stood still in hot vessels"),
        said(
            "Feed stopped while vessels stayed full and hot. The juice waited, and "
            "its pH falls as it waits, so it lost sucrose the longer it stood."
        ),
        (
            said("Find out how long the stop was meant to last and who was told."),
            said(
                "At the next long stop consider emptying to process, cooling, or raising "
                "the pH of what stays behind, as the site's stop procedure allows."
            ),
            said("Sample the standing juice for pH and reducing sugars before it is sent forward."),
        ),
        (_HOT, _CONFINED, _SET_POINT),
    ),
    "slow_throughput": CauseWords(
        said("Slow running kept the juice hot too long"),
        said(
            "Less juice came through while the vessels were as full as ever, so each "
            "litre spent more time hot."
        ),
        (
            said("Look at the cane rate and imbibition against what was planned."),
            said(
                "If slow running will last, ask whether levels may be lowered or a vessel"
                " taken out."
            ),
            said("Check the feed flow meter against pump speed and tank levels."),
        ),
        (_HOT, _SET_POINT),
    ),
    "overheating": CauseWords(
        said("Juice hotter than its target"),
        said(
            "The juice ran above its temperature target. Near boiling, about 7 °C "
            "more doubles the rate of loss."
        ),
        (
            said("Compare the temperature gauge on the spot with the reading in the export."),
            said(
                "Look at the steam valve and its pressure; a valve passing when shut "
                "shows up first at low juice flow."
            ),
            said("Check that the flash tank vents freely."),
        ),
        (_HOT, _SET_POINT),
    ),
    "mud_held": CauseWords(
        said("Mud held too long in the settler"),
        said(
            "The mud bed stood high or was drawn slowly. Juice in the mud is more "
            "acid than the juice above it and stays there longer."
        ),
        (
            said("Check the mud level by its own sampling taps, not by the instrument alone."),
            said(
                "Look at mud pumps, valves and filters: is the filter station holding the mud back?"
            ),
            said("Take a mud sample for pH."),
        ),
        (_HOT, _CONFINED),
    ),
    "microbial": CauseWords(
        said("Sugar eaten by microbes"),
        said(
            "A tank ran cool, and acid, lime or pol show that microbes grew in it. "
            "They use up sucrose themselves; this loss does not follow from pH and "
            "temperature."
        ),
        (
            said("Look for cold spots, dead ends and foam in mixed-juice and limed-juice tanks."),
            said("Ask when mills, gutters, screens and tanks were last cleaned and steamed out."),
            said("Repeat the lactic-acid test on fresh samples from each point along the line."),
        ),
        (_CLEANING, _CONFINED),
    ),
    "tank_held": CauseWords(
        said("Juice held too long in its vessel"),
        said(
            "The vessel stood fuller than usual, so hot juice stayed there longer "
            "before it went on."
        ),
        (
            said("Ask why the evaporators took less: scale, steam, or a full syrup tank?"),
            said("Compare the level gauge with the reading."),
            said("If levels must stay high, sample for pH and reducing sugars every hour."),
        ),
        (_HOT, _CONFINED),
    ),
    "clear_probe_low": CauseWords(
        said("Clear-juice probe reading too low"),
        said(
            "The clear-juice probe fell while the laboratory's grabs did not: much of"
            " this loss may be the probe's and not the juice's."
        ),
        (
            said(
                "Compare the clear-juice probe with a cooled grab measured on a freshly "
                "calibrated meter."
            ),
            said("Look for scale on the probe, and whether its sample line still flows."),
            said("Until then take the laboratory pH of clear juice as the true one."),
        ),
        (_HOT, _PROBE),
    ),
    "short_circuiting": CauseWords(
        said("Juice short-circuiting through the settler"),
        said(
            "Juice crossed part of the settler too fast, while the rest stood. What "
            "stands sours, and mud carried over makes the clear juice cloudy."
        ),
        (
            said(
                "Compare turbidity and pH of the clear juice tray by tray, from the sampling taps."
            ),
            said(
                "Look at the feed well, the flash before it and the overflow weirs: is "
                "one side drawing most?"
            ),
            said(
                "Check the temperature of the feed: hotter and colder juice than what "
                "stands in the settler finds ways of its own."
            ),
        ),
        (_HOT, _CONFINED),
    ),
    "late_lime_reaction": CauseWords(
        said("Lime still reacting behind the liming tank"),
        said(
            "Lime and phosphate had too little time, mixing or heat in the liming "
            "tank, so the pH went on falling behind the probe that doses the lime."
        ),
        (
            said(
                "Look at the liming tank's level and stirrer: does the juice stay as long as usual?"
            ),
            said(
                "Take limed juice at the tank and let it stand hot for 15 min: how far "
                "does its pH fall?"
            ),
            said(
                "Check phosphate in mixed juice, added phosphoric acid, and how fresh the"
                " milk of lime is."
            ),
        ),
        (_LIME, _HOT, _CONFINED),
    ),
    "settler_infection": CauseWords(
        said("Microbes growing in the settler"),
        said(
            "Below 75 °C, or in corners where nothing moves, microbes live on the "
            "juice and make acid. The pH falls without the lime being short."
        ),
        (
            said("Measure the temperature at each tray and in the mud, not at the outlet alone."),
            said("Test limed and clear juice for lactic acid, and clear juice for dextran."),
            said(
                "Smell and look: gas, foam or slime at the surface, the weirs and the "
                "sampling taps."
            ),
        ),
        (_HOT, _CONFINED, _CLEANING),
    ),
    "invert_destruction": CauseWords(
        said("Reducing sugars destroyed, and the acid of them"),
        said(
            "Limed too high or held too hot, reducing sugars break down to acids and "
            "colour. The acids lower the pH in the settler, and sucrose follows."
        ),
        (
            said("Look at the limed-juice pH of the hours before: did it run above its target?"),
            said("Compare the temperature of the settler's feed with its target."),
            said("Compare colour and reducing sugars of limed and clear juice."),
        ),
        (_HOT, _LIME, _SET_POINT),
    ),
    "unexplained": CauseWords(
        said("A loss that no known cause explains"),
        said(
            "More sucrose went missing than the readings account for, and no cause "
            "stands out. It may be real, or an instrument or an analysis may be off."
        ),
        (
            said("Repeat the laboratory analyses the number rests on, with fresh samples."),
            said("Check the flow meters against tank levels, and the Brix against the laboratory."),
            said("Ask the shift what was unusual in these hours."),
        ),
        (_HOT,),
    ),
}
#: Short names of the cautions, for where the full words stand further down.
_CAUTION_LABELS: dict[str, str] = {
    _HOT: said("hot juice and steam"),
    _LIME: said("lime"),
    _CONFINED: said("confined vessels"),
    _SET_POINT: said("changing set-points"),
    _PROBE: said("taking out a probe"),
    _CLEANING: said("cleaning chemicals and steam"),
}


def caution_label(caution: str) -> str:
    """Short name of a caution."""
    return _CAUTION_LABELS[caution]


def words_of(cause: str) -> CauseWords:
    """Words for a cause; a cause not known here is shown by its own name."""
    known = CAUSES.get(cause)
    if known is not None:
        return known
    spoken = spoken_name(cause) or said("no cause given")
    return CauseWords(
        said("Cause “{spoken}”", spoken=spoken), "", CAUSES["unexplained"].checks, (_HOT,)
    )
