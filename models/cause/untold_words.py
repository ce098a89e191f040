"""Words for what nobody can know of a stop."""

from __future__ import annotations

from features.base import Station
from features.flow import zone_temperature_source
from models.cause.episode import place_in

#: Why a vessel is not in the tonnes of a stop.
UNTOLD_WHY = {
    "heat": "which has no thermometer: with steam shut nobody knows how fast it cooled",
    "content": "of which no tag tells whether it stood full or was emptied",
    "juice": "as Brix had no valid reading before the stop: it may have held wash water",
}


def place_of(zone: str) -> str:
    """A zone in words, without its article."""
    return place_in(zone).removeprefix("the ")


def heat_told(station: Station, zone: str) -> str:
    """How a zone's temperature is known, in words; empty where a thermometer reads it."""
    source = zone_temperature_source(station, zone)
    return {
        "read": "",
        "vapour": f"worked out from the vapour pressure {source.tag}, +/- {source.sd_k:.1f} K",
        "neighbour": f"no thermometer: followed from {source.tag}, +/- {source.sd_k:.1f} K",
        "target": f"no thermometer: taken at its target, +/- {source.sd_k:.0f} K",
    }[source.told]
