"""Which vessels have their heat from a vessel before them, and follow its temperature."""

from __future__ import annotations

from features.base import Station, Vessel

_OWN_HEAT = ("heater", "clear_juice_heater", "evaporator_vessel")


def behind(station: Station, vessel: Vessel) -> tuple[Vessel, ...]:
    """Vessels behind one without heat of their own, up to the next heater, in flow order.

    Parameters
    ----------
    station : Station
    vessel : Vessel

    Returns
    -------
    tuple of Vessel
        A flash tank among them: juice that comes colder than it boils leaves so.
    """
    found: list[Vessel] = []
    for group in station.in_flow_order:
        if group[0].step <= vessel.step:
            continue
        if any(v.kind in _OWN_HEAT for v in group):
            break
        found += group
    return tuple(found)
