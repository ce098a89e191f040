"""What nobody can know of a stop: which vessels stood full, and how hot, where no tag tells.

A loss that rests on a temperature or level which nobody measured is not claimed as if known. What
tells is taken in turn. A settler empties from below: as long as its mud stands, juice stands above
it. One that was emptied takes a settler of juice after the stop before any of it runs over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import Station
from features.flow import mud_told
from models.base import Array, Minutes
from models.detect.channels import MUD_SUFFIX, level_read, moves, vessel_of, zone_kinds

#: Vessels that steam heats; in a stop there is nothing to boil (common practice: steam is shut),
#: and how fast they cool nobody knows without a thermometer.
STEAMED = ("heater", "clear_juice_heater", "evaporator_vessel", "flash_tank")
_TANKS = ("liming_tank", "clear_juice_tank")
#: Mud under this share of its usual was pumped away; a settler that took less than this share of
#: its volume before it ran over again had stood full (judgement).
_STANDS, _REFILLED = 0.5, 0.5
#: The clear-juice tank has risen once it holds so much more, as a share of its usual (judgement).
_RISEN = 0.1
#: How long after a stop clear juice is waited for [min].
_WAIT_MIN = 240
#: Juice whose Brix has had no valid reading for so long before a stop may be wash water [min],
#: where at least this share of all running minutes has one.
_NO_BRIX_MIN, _BRIX_KNOWN = 60, 0.5


@dataclass(frozen=True)
class Untold:
    """Minutes of a stop in which a vessel's loss is not known.

    Attributes
    ----------
    zone : str
    start, end : int
        First minute and the one after the last.
    why : str
        ``heat``, ``content`` or ``juice``: no thermometer, no level that tells, or perhaps water.
    """

    zone: str
    start: int
    end: int
    why: str


def untold(minutes: Minutes, station: Station, start: int, end: int) -> list[Untold]:
    """What nobody can know of a stop.

    Parameters
    ----------
    minutes : Minutes
    station : Station
    start, end : int
        First minute of the stop and the one after its last.

    Returns
    -------
    list of Untold
        At most one for each zone, in flow order.
    """
    kinds, zones = zone_kinds(station, list(minutes.zones)), minutes.zones
    if _perhaps_water(minutes, start):
        return [Untold(zone, start, end, "juice") for zone in zones]
    found = []
    for zone, columns in zones.items():
        if kinds[zone] in STEAMED:
            since = _heat_known_until(columns["temp_degc"], start, end)
            if since < end:
                found.append(Untold(zone, since, end, "heat"))
            continue
        since = start
        if kinds[zone] not in _TANKS:
            since = _settler_untold(minutes, station, zone, (start, end))
        elif moves(columns["volume_m3"]):
            since = end
        if since < end:
            found.append(Untold(zone, since, end, "content"))
    return found


def _heat_known_until(degc: Array, start: int, end: int) -> int:
    """Minute of a stop from which nothing tells a steamed vessel's heat, or its end."""
    if not moves(degc):
        return start
    # Worked out from a vapour pressure that is the open air's once the vessel has gone quiet.
    missing = np.flatnonzero(~np.isfinite(degc[start:end]))
    return start + int(missing[0]) if len(missing) else end


def _perhaps_water(minutes: Minutes, start: int) -> bool:
    """Whether a mill that measures Brix had no valid Brix of what it fed last."""
    known = np.isfinite(minutes.station["brix_feed_pct"])
    running = ~minutes.stopped
    if not running.any() or known[running].mean() < _BRIX_KNOWN or start < _NO_BRIX_MIN:
        return False
    return not known[start - _NO_BRIX_MIN : start].any()


def _settler_untold(minutes: Minutes, station: Station, zone: str, stop: tuple[int, int]) -> int:
    """Minute of a stop from which nothing tells what a settler or its mud holds, or its end."""
    start, end = stop
    settler = zone.removesuffix(MUD_SUFFIX)
    mud = minutes.zones.get(settler + MUD_SUFFIX)
    # Mud that takes room moves the juice's volume, too, and a balance of mud proves no content.
    by_level = level_read(station, settler, minutes)
    read = mud_told(station, vessel_of(station, settler)) == "read"
    by_mud = mud is not None and read and moves(mud["volume_m3"])
    if zone.endswith(MUD_SUFFIX):
        if by_mud or by_level:
            return end
    elif by_level and (not by_mud or moves(minutes.station["brix_feed_pct"])):
        return end
    if by_mud and mud is not None:
        return _mud_gone(minutes, mud["volume_m3"], start, end)
    kinds = zone_kinds(station, list(minutes.zones))
    return end if _stood_full(minutes, kinds, end) else start


def _mud_gone(minutes: Minutes, mud_m3: Array, start: int, end: int) -> int:
    """Minute from which the mud is no longer there to prove juice above it; `end` for never.

    Mud pumped away is how a settler is emptied, limed or filled with water before it stands.
    """
    usual = float(np.nanmedian(mud_m3[~minutes.stopped]))
    low = np.flatnonzero(mud_m3[start:end] < _STANDS * usual)
    return start + int(low[0]) if len(low) else end


def _stood_full(minutes: Minutes, kinds: dict[str, str], end: int) -> bool:
    """Whether clear juice ran over soon after a stop; False where that is not seen."""
    tanks = [z for z, kind in kinds.items() if kind == "clear_juice_tank"]
    held = [v for v in (minutes.zones[z]["volume_m3"] for z in tanks) if moves(v)]
    if not held:
        return False
    before, after = held[0][end - 1], held[0][end : end + _WAIT_MIN]
    risen = np.flatnonzero(after > before + _RISEN * float(np.nanmedian(held[0])))
    if not len(risen):
        return False
    flow = minutes.station["flow_feed_m3_h"][end : end + int(risen[0])]
    fed_m3 = float(np.nan_to_num(flow).sum()) / 60.0
    settlers = [minutes.zones[z]["volume_m3"] for z, kind in kinds.items() if kind == "settler"]
    return fed_m3 < _REFILLED * sum(float(np.nanmedian(v)) for v in settlers)
