"""What is measured and where, in words: quantities, analytes, places, and both together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from pipeline.base import joined, said
from pipeline.words.wording import place_within, section_words, spoken_name

#: Quantity in words, unit kept inside the tool, decimals that instruments can tell.
QUANTITIES: Final[Mapping[str, tuple[str, str, int]]] = {
    "flow": (said("juice flow"), "m3/h", 1),
    "temperature": (said("temperature"), "degC", 1),
    "ph": ("pH", "pH", 2),
    "level": (said("level"), "%", 1),
    "mud_level": (said("mud level"), "%", 1),
    "brix": ("Brix", "%", 2),
    "turbidity": (said("turbidity"), "NTU", 1),
    "conductivity": (said("conductivity"), "mS/cm", 2),
    "steam_pressure": (said("steam pressure"), "kPa", 0),
    "cane_rate": (said("cane rate"), "t/h", 0),
    "imbibition_flow": (said("imbibition water"), "m3/h", 1),
    "lime_flow": (said("milk of lime"), "L/h", 0),
    "flocculant_flow": (said("flocculant"), "L/h", 0),
    "other": (said("reading"), "", 2),
}
#: Analyte in words, unit, decimals.
ANALYTES: Final[Mapping[str, tuple[str, str, int]]] = {
    "ph": ("pH", "pH", 2),
    "brix": ("Brix", "%", 2),
    "pol": ("pol", "%", 2),
    "purity": (said("purity"), "%", 1),
    "rs": (said("reducing sugars on juice"), "%", 3),
    "lactic": (said("lactic acid"), "mg/kg", 0),
    "turbidity": (said("turbidity"), "NTU", 0),
    "potassium": (said("potassium"), "mg/kg", 0),
    "chloride": (said("chloride"), "mg/kg", 0),
    "dextran": (said("dextran"), "mg/kg", 0),
    "colour": (said("colour"), "IU", 0),
    "phosphate": (said("phosphate"), "mg/kg", 0),
}
_PORTS: Final = {
    "in": said("inlet"),
    "inside": said("inside"),
    "out": said("outlet"),
    "mud": said("mud"),
    "": "",
}
#: Juices and streams by place and port, as the trade calls them.
_STREAMS: Final[Mapping[tuple[str, str], str]] = {
    ("mixed_juice", ""): said("mixed juice"),
    ("liming_tank", "out"): said("limed juice"),
    ("settler", "out"): said("clear juice"),
    ("settler", "mud"): said("mud"),
    ("filtrate", ""): said("filtrate"),
    ("syrup", ""): said("syrup"),
    ("filter_cake", ""): said("filter cake"),
}
#: Doses are known by what is dosed; a place adds nothing.
_ALONE: Final = frozenset({"lime_flow", "flocculant_flow", "imbibition_flow", "cane_rate"})


def place_words(place: str, port: str, kinds: Mapping[str, str]) -> str:
    """Say where something is read: ``liming tank, outlet``."""
    where = said("mill") if place == "mill" else section_words(place, kinds)
    side = _PORTS.get(port, spoken_name(port))
    return joined(", ", (part for part in (where, side) if part))


def stream_words(place: str, port: str) -> str:
    """Name what is sampled or metered at a place: ``limed juice``, or the vessel."""
    port = "" if (place, port) not in _STREAMS and (place, "") in _STREAMS else port
    return _STREAMS.get((place, port)) or place_words(place, port, {})


def point_words(quantity: str, place: str, port: str) -> str:
    """Name a measuring point: ``limed juice pH``, ``temperature out of the primary heater``.

    Parameters
    ----------
    quantity, place, port : str
        As in a description; a name that is missing here is spoken as it stands.
    """
    known = QUANTITIES.get(quantity)
    what = known[0] if known else spoken_name(quantity)
    if quantity in _ALONE:
        return what
    if quantity == "mud_level":
        return said("{what} in {place_within}", what=what, place_within=place_within(place))
    stream = _STREAMS.get((place, port))
    if stream and (port or "level" not in quantity):
        return said(
            "{stream} {said}", stream=stream, said=said("flow") if quantity == "flow" else what
        )
    return _at(port or ("inside" if quantity == "level" else ""), what, place_within(place))


def _at(port: str, what: str, within: str) -> str:
    """Say a quantity at a port, for each port with a message of its own."""
    # In many languages the word between the two becomes one with the article behind it.
    match port:
        case "in":
            return said("{what} into {place_within}", what=what, place_within=within)
        case "inside":
            return said("{what} in {place_within}", what=what, place_within=within)
        case "out":
            return said("{what} out of {place_within}", what=what, place_within=within)
        case "mud":
            return said("{what} in the mud of {place_within}", what=what, place_within=within)
        case _ if port:
            return said(
                "{what} at {port} of {place_within}",
                what=what,
                port=spoken_name(port),
                place_within=within,
            )
        case _:
            return said("{what} of {place_within}", what=what, place_within=within)


def analyte_words(analyte: str, basis: str = "juice") -> str:
    """Name an analysis: ``pH``, ``reducing sugars on solids``."""
    known = ANALYTES.get(analyte)
    what = known[0] if known else spoken_name(analyte)
    return (
        what
        if basis == "juice"
        else said(
            "{what} on {spoken_name}",
            what=what.removesuffix(said(" on juice")),
            spoken_name=spoken_name(basis),
        )
    )
