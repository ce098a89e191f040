"""Words for what nobody can know of a stop."""

from __future__ import annotations

from models.detect import MUD_SUFFIX

#: Why a vessel is not in the tonnes of a stop.
UNTOLD_WHY = {
    "heat": "which has no thermometer: with steam shut nobody knows how fast it cooled",
    "content": "of which no tag tells whether it stood full or was emptied",
    "juice": "as Brix had no valid reading before the stop: it may have held wash water",
}


def place_of(zone: str) -> str:
    """A zone in words."""
    name = zone.removesuffix(MUD_SUFFIX).replace("_", " ")
    return f"mud of the {name}" if zone.endswith(MUD_SUFFIX) else name
