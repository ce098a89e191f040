"""Whether juice bears a level or the feed's meter out: a tank fills only with what flows in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.base import Array
from models.cause.sensor_fault import EDGE_MIN, MOVED_SHARE, Case, SensorFault, median
from models.detect import MUD_SUFFIX, vessel_of

#: Level: no pump moves this many times the station's feed, nor this share of a vessel, in
#: three minutes (estimates).
_JUMP_FEEDS = 3.0
_JUMP_SHARE = 0.15
_JUMP_MIN = 3
#: Mud read as risen takes room from clear juice at once and grows old later: its loss begins
#: so much after the level jumped [min] (estimate).
_MUD_LATE_MIN = 180
#: Share of a rise that the flow meters must have brought in (estimate).
_FILLED_SHARE = 0.4
_FILL_MIN = 300
#: Least share of the feed that must seem to be missing (estimate).
_LEAST_FALL = 0.1


def level_fault(case: Case) -> SensorFault | None:
    """A level that rose as no pump can raise it, or without juice to fill the tank.

    None where juice bears it out, or nothing can be said.
    """
    zone = case.item.channel.section
    mud = zone.endswith(MUD_SUFFIX)
    quantity, place = ("mud_level" if mud else "level"), zone.removesuffix(MUD_SUFFIX)
    signal = case.station.signal("mud_level" if mud else "level", place)
    if signal is None:
        return None
    volume = case.minutes.zones[zone]["volume_m3"]
    name = quantity.replace("_", " ")
    jump = _jump_m3(case, volume)
    if jump is not None:
        why = f"{name} jumped by {jump:+.0f} m³ within {_JUMP_MIN} minutes, more than pumps move."
        return case.fault(signal, why)
    if mud or case.station.signal("flow", place, "out") is None:
        return None
    rise, filled = _filling_m3(case, volume, case.minutes.zones[zone])
    if rise is None or filled is None or filled >= _FILLED_SHARE * rise:
        return None
    why = (
        f"level up by {rise:.0f} m³, but the flow meters brought in {filled:.0f} m³ more than left."
    )
    return case.fault(signal, why)


def _jump_m3(case: Case, volume: Array) -> float | None:
    """Change too fast and too lasting to be juice, at either end of the episode [m3]."""
    feed = median(case.minutes.station["flow_feed_m3_h"])
    vessel = vessel_of(case.station, case.item.channel.section)
    mud = case.item.channel.section.endswith(MUD_SUFFIX)
    full = vessel.mud_volume_m3 if mud else vessel.volume_m3
    late = _MUD_LATE_MIN if mud else 0
    limit = max(_JUMP_FEEDS * feed * _JUMP_MIN / 60.0, _JUMP_SHARE * full)
    for edge in case.span:
        for i in range(max(edge - EDGE_MIN - late, 10), min(edge + EDGE_MIN, len(volume) - 13)):
            change = volume[i + _JUMP_MIN] - volume[i]
            if abs(change) <= limit:
                continue
            lasting = median(volume[i + _JUMP_MIN : i + 13]) - median(volume[i - 10 : i + 1])
            if abs(lasting) > limit:
                return float(lasting)
    return None


def _filling_m3(
    case: Case, volume: Array, columns: dict[str, Array]
) -> tuple[float | None, float | None]:
    """Rise of the volume at the start of the episode, and what the meters say flowed in [m3]."""
    start, end = case.span
    first, last = start - EDGE_MIN, min(start + _FILL_MIN, end)
    if first < 0:
        return None, None
    net = columns["flow_in_m3_h"] - columns["flow_out_m3_h"]
    # Two meters never agree: what they usually differ by is no filling.
    usual, _ = case.before_and_in(net)
    course = net[first:last] - usual
    if not np.isfinite(course).mean() >= 0.9 or not np.isfinite(volume[first:last]).any():
        return None, None
    filled = np.nancumsum(course) / 60.0
    risen = volume[first:last] - median(volume[max(first - EDGE_MIN, 0) : first + EDGE_MIN // 2])
    top = float(np.nanquantile(risen, 0.9))
    at = int(np.flatnonzero(np.nan_to_num(risen, nan=-np.inf) >= 0.9 * top)[0])
    return (top, float(filled[at:].max())) if top > 0.0 else (None, None)


def flow_fault(case: Case) -> SensorFault | None:
    """A feed meter that fell while the juice went on as before.

    None where other flows bear it out, or nothing can be said.
    """
    signal = case.station.signal("flow", "mixed_juice")
    if signal is None:
        return None
    fall = _fall(case, case.minutes.station["flow_feed_m3_h"])
    falls = [f for s in _flow_partners(case) if np.isfinite(f := _fall(case, s))]
    if not fall >= _LEAST_FALL or not falls or max(falls) >= MOVED_SHARE * fall:
        return None
    why = f"flow down by {100 * fall:.0f} %, but other flows and the cane rate went on as before."
    return case.fault(signal, why)


def _fall(case: Case, values: Array) -> float:
    usual, now = case.before_and_in(values)
    return 1.0 - now / usual if usual > 0.0 else float("nan")


def _flow_partners(case: Case) -> Iterator[Array]:
    """Flows that have a meter of their own, and the cane rate."""
    series = [case.minutes.station["cane_t_h"]]
    for zone, columns in case.minutes.zones.items():
        if zone.endswith(MUD_SUFFIX):
            continue
        for column, ports in (("flow_in_m3_h", ("in", "")), ("flow_out_m3_h", ("out",))):
            if any(case.station.signal("flow", zone, port) for port in ports):  # type: ignore[arg-type]
                series.append(columns[column])
    for values in series:
        if case.alive_before(values):
            yield values
