"""Plain words for places, confidence, shares of a loss, and how things stand."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.base import figure, joined, said
from pipeline.words.text import clean

SHARES: dict[str, str] = {
    "ph": said("lower pH"),
    "drop": said("pH falling more before clear juice"),
    "temperature": said("higher temperature"),
    "temp": said("higher temperature"),
    "flow": said("slower flow"),
    "volume": said("fuller vessels"),
    "held": said("older juice behind a fuller tank"),
    "brix": said("thinner juice"),
    "throughput": said("slower flow"),
    "residence": said("longer stay"),
    "microbes": said("microbes"),
    "standing": said("juice standing in stops"),
}

#: What a part of a loss speaks of: the channel of the search that it was found in.
CHANNELS: dict[str, str] = {
    "ph": said("lower pH of the limed juice"),
    "ph_witness": said("the slow drift of the limed-juice pH probe"),
    "drop": said("pH falling more than usual between limed and clear juice"),
    "heat": said("higher temperature"),
    "hold": said("fuller vessel"),
    "mud": said("more mud held"),
    "throughput": said("slower flow"),
    "standing": said("juice standing without feed"),
    "unexplained": said("the whole loss above its usual"),
}

#: Why nobody can say how often chance alone makes a stretch, and what is listed instead, by kind.
UNCALIBRATED: dict[str, str] = {
    "periods": (
        said(
            "the ordinary hours are too few (under twelve days), swing too widely or "
            "stray too slowly to learn it from. Listed is only what stands out more, "
            "over three days at most, than the best hours of the same weeks stand out"
            " the other way. It is never called confident, and its p-value is 0.01 at"
            " least"
        )
    ),
    "spells": (
        said(
            "hours that stand out for no cause come too often or too strongly to "
            "learn it from. Losses that come and go are listed as at a mill with "
            "little unrest, so more of them may be chance. They are never called "
            "confident, and their p-value is 0.01 at least"
        )
    ),
}

_KINDS: dict[str, str] = {
    "mixed_juice": said("mixed juice"),
    "liming_tank": said("liming tank"),
    "heater": said("juice heater"),
    "flash_tank": said("flash tank"),
    "settler": said("settler"),
    "clear_juice_tank": said("clear-juice tank"),
    "clear_juice_heater": said("clear-juice heater"),
    "evaporator_vessel": said("evaporator vessel"),
}

#: Names of vessels that the trade gives wherever there are several of a kind (common practice).
_NAMED: dict[str, str] = {
    "primary_heater": said("primary heater"),
    "secondary_heater": said("secondary heater"),
    "first_evaporator": said("first evaporator"),
}

#: The same within a sentence.
_THE: dict[str, str] = {
    "liming_tank": said("the liming tank"),
    "heater": said("the juice heater"),
    "flash_tank": said("the flash tank"),
    "settler": said("the settler"),
    "clear_juice_tank": said("the clear-juice tank"),
    "clear_juice_heater": said("the clear-juice heater"),
    "evaporator_vessel": said("the evaporator vessel"),
    "primary_heater": said("the primary heater"),
    "secondary_heater": said("the secondary heater"),
    "first_evaporator": said("the first evaporator"),
}

_STATUS: dict[str, str] = {
    "open": said("still going on"),
    "ended": said("ended"),
    "withdrawn": said("withdrawn: later data took it back"),
}

_NOTICES: dict[str, str] = {
    "stale_cane": said("Stale cane"),
    "over_liming": said("Too much lime"),
    "calibration": said("Probe calibration"),
    "lab_bias": said("Laboratory offset"),
    "lab_ph_shift": said("Laboratory pH offset"),
    "cloudy_clear_juice": said("Cloudy clear juice"),
    "no_flash": said("Juice too cool to flash"),
    "short_way": said("Short way across the settler"),
    "little_flocculant": said("Little flocculant"),
    "much_flocculant": said("Much flocculant"),
    "imbibition_change": said("More imbibition water"),
    "sensor_fault": said("Sensor at fault"),
    "stuck_tag": said("Stuck reading"),
    "stop": said("Stop"),
    "handled_stop": said("Handled stop"),
    "untold_stop": said("Untold stop"),
    "clock": said("Clock trouble"),
    "known": said("Known beforehand"),
}

_VERDICTS: dict[str, str] = {
    "confirmed": said("confirmed"),
    "dismissed": said("dismissed"),
    "fixed": said("fixed"),
    "look_again": said("look again"),
    "taken_back": said("taken back"),
}

_NOTES: dict[str, str] = {
    "stop": said("stop"),
    "cleaning": said("cleaning"),
    "calibration": said("calibration"),
    "reagent": said("reagent"),
    "method": said("method"),
    "trial": said("trial"),
    "other": said("other"),
}

_SENSORS: dict[str, str] = {
    "silent": said("no readings"),
    "sick": said("do not trust"),
    "watch": said("keep an eye on"),
}

#: Lowest confidence of each word, highest first (wording of our own).
_CONFIDENCE: tuple[tuple[float, str], ...] = (
    (0.9, said("almost sure")),
    (0.7, said("likely")),
    (0.5, said("more likely than not")),
    (0.3, said("possible")),
    (0.0, said("a weak hint")),
)


def within_line(sentence: str) -> str:
    """Write words that begin with a capital so that they can stand within a sentence."""
    return sentence[:1].lower() + sentence[1:]


def spoken_name(name: object) -> str:
    """Make a name readable: underscores become spaces, untrusted characters go."""
    return clean(name, 60).replace("_", " ").strip()


def section_words(section: str, kinds: Mapping[str, str]) -> str:
    """Say where: a vessel, the mud below a settler, or the whole station.

    Parameters
    ----------
    section : str
        Zone name (``<vessel>`` or ``<vessel>:mud``) or ``train``.
    kinds : Mapping of str to str
        Kind of each vessel by name.
    """
    if section == "train":
        return said("whole station")
    vessel, _, part = section.partition(":")
    name = vessel_words(vessel, kinds.get(vessel, vessel))
    return said("{name}, mud", name=name) if part == "mud" else name


def vessel_words(vessel: str, kind: str) -> str:
    """Call a vessel as the mill does, by its name; one named after its kind as the trade does."""
    if vessel == kind and kind in _KINDS:
        return _KINDS[kind]
    return _NAMED.get(vessel) or spoken_name(vessel) or said("place not named")


def place_within(section: str) -> str:
    """Say where within a sentence: ``the settler``, ``the mud of the settler``."""
    if section == "train":
        return said("the whole station")
    vessel, _, part = section.partition(":")
    name = _THE.get(vessel) or said("the {vessel}", vessel=spoken_name(vessel))
    return said("the mud of {name}", name=name) if part == "mud" else name


def confidence_words(confidence: float | None) -> str:
    """Say a confidence from 0 to 1 in words and as a number, for example ``likely (0.78)``."""
    if confidence is None:
        return said("not rated")
    held = min(1.0, max(0.0, confidence))
    # The words must match the number as it is printed, so both use the rounded one.
    shown = round(held, 2)
    word = next(word for lowest, word in _CONFIDENCE if shown >= lowest)
    return said("{word} ({shown})", word=word, shown=figure(shown, ".2f"))


def confidence_key() -> str:
    """Explain the confidence words in one line."""
    steps = [
        said("“{word}” from {lowest}", word=word, lowest=figure(lowest, ".1f"))
        for lowest, word in _CONFIDENCE
        if lowest > 0
    ]
    return joined(", ", steps) + said(", below that “{confidence}”", confidence=_CONFIDENCE[-1][1])


def status_words(status: str) -> str:
    """Say the status of a finding."""
    return _STATUS.get(status, spoken_name(status))


def notice_words(kind: str) -> str:
    """Say the kind of a notice."""
    spoken = spoken_name(kind)
    return _NOTICES.get(kind, spoken[:1].upper() + spoken[1:])


def sensor_words(verdict: str) -> str:
    """Say how a sensor stands."""
    return _SENSORS.get(verdict, spoken_name(verdict))


def verdict_words(verdict: object) -> str:
    """Say in a word what people said of a finding; empty when nobody did."""
    return _VERDICTS.get(str(verdict or ""), spoken_name(verdict))


def note_kind_words(kind: str) -> str:
    """Say of what kind a note is."""
    return _NOTES.get(kind, spoken_name(kind))


def share_words(share: str) -> str:
    """Say which driver a share of the loss belongs to."""
    return SHARES.get(share, spoken_name(share))


def channel_words(channel: str) -> str:
    """Say what a part of a loss speaks of."""
    return CHANNELS.get(channel, spoken_name(channel))
