"""Whether heat bears a rise of one temperature out: it does not stay where it is."""

from __future__ import annotations

import numpy as np

from features.base import Signal, Station
from models.cause.sensor_fault import MOVED_SHARE, Case, SensorFault
from models.detect import MUD_SUFFIX, vessel_of

#: Share of an episode's excess that one zone must carry for its sensor to be questioned.
_ALONE_SHARE = 0.7
#: Least rise that must show elsewhere [K] (estimate): in vessels without heat of their own, and
#: in a boiling vessel, whose vapour and steam other heaters share (common practice).
_PASSIVE_RISE_K = 2.0
_BOILING_RISE_K = 5.0
#: Vessels without heat of their own; of these a flash tank is held at its boiling point.
_STILL = ("liming_tank", "settler", "clear_juice_tank")
_PASSIVE = (*_STILL, "flash_tank")
_HEATED = ("heater", "clear_juice_heater")


def heat_fault(case: Case) -> SensorFault | None:
    """A temperature that rose alone.

    None where others followed, or nothing can be said.
    """
    start, end = case.span
    kg = {
        z: float(np.nansum(case.excess.by_driver[z, "temperature"][start:end]))
        for z in case.item.channel.zones
    }
    zone = max(kg, key=kg.__getitem__)
    signal = _thermometer(case.station, zone)
    if signal is None or kg[zone] < _ALONE_SHARE * sum(max(v, 0.0) for v in kg.values()):
        return None
    usual, now = case.before_and_in(case.minutes.zones[zone]["temp_degc"])
    rise = now - usual
    boiling = _kind(case.station, zone) == "evaporator_vessel"
    if not rise >= (_BOILING_RISE_K if boiling else _PASSIVE_RISE_K):
        return None
    moves = {}
    for partner in _heat_partners(case, zone):
        before, during = case.before_and_in(case.minutes.zones[partner]["temp_degc"])
        if np.isfinite(during - before):
            moves[partner] = during - before
    if not moves or max(moves.values()) >= MOVED_SHARE * rise:
        return None
    others = ", ".join(f"{_words(z)} {dt:+.1f} K" for z, dt in moves.items())
    return case.fault(signal, f"temperature up by {rise:.1f} K, but nothing followed ({others}).")


def _heat_partners(case: Case, zone: str) -> list[str]:
    """Zones with a live thermometer that must warm with this one.

    Heat shows downstream as far as nothing controls or caps it: not behind a heater, and not in
    a flash tank, which boils. It comes from upstream, unless the vessel is heated itself; of a
    boiling vessel the heater before it shares the steam.
    """
    if zone.endswith(MUD_SUFFIX):
        near = [zone.removesuffix(MUD_SUFFIX)]
    else:
        order = [z for z in case.minutes.zones if not z.endswith(MUD_SUFFIX)]
        place = order.index(zone)
        kind = _kind(case.station, zone)
        near = [zone + MUD_SUFFIX, *_nearest(case, order[place + 1 :], _STILL)]
        if kind == "evaporator_vessel":
            near += [z for z in order[:place][-1:] if _kind(case.station, z) in _HEATED]
        elif kind in _PASSIVE:
            near += _nearest(case, order[:place][::-1], (*_PASSIVE, *_HEATED))
    return [z for z in near if _measured(case, z)]


def _nearest(case: Case, zones: list[str], kinds: tuple[str, ...]) -> list[str]:
    """First zone with a live thermometer, unless another kind or an unmeasured heater is met."""
    for zone in zones:
        kind = _kind(case.station, zone)
        if kind not in kinds:
            return []
        if _measured(case, zone):
            return [zone]
        if kind in _HEATED:
            return []
    return []


def _measured(case: Case, zone: str) -> bool:
    """Whether a zone has a thermometer of its own that is alive."""
    if zone not in case.minutes.zones or _thermometer(case.station, zone) is None:
        return False
    return case.alive_before(case.minutes.zones[zone]["temp_degc"])


def _thermometer(station: Station, zone: str) -> Signal | None:
    if zone.endswith(MUD_SUFFIX):
        return station.signal("temperature", zone.removesuffix(MUD_SUFFIX), "mud")
    found = (station.signal("temperature", zone, port) for port in ("inside", "out", ""))
    return next((s for s in found if s is not None), None)


def _kind(station: Station, zone: str) -> str:
    return "mud" if zone.endswith(MUD_SUFFIX) else str(vessel_of(station, zone).kind)


def _words(zone: str) -> str:
    return zone.removesuffix(MUD_SUFFIX).replace("_", " ") + (
        " mud" if zone.endswith(MUD_SUFFIX) else ""
    )
