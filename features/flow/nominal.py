"""The station at its targets: flow through each vessel, and how far pH falls on the way."""

from __future__ import annotations

from features.base import Numeric, Station, Vessel
from features.flow.filtrate import filtrate_at
from features.kinetics import concentration_ratio, hexose_mmol_kg, ph_fall_1_h


def usual_flow_m3_h(station: Station, vessel: Vessel) -> float:
    """Flow into a vessel at target feed.

    Parameters
    ----------
    station : Station
        The station.
    vessel : Vessel
        One of its vessels.

    Returns
    -------
    float
        Its share, by volume, of the feed and the filtrate returned up to it, less the mud drawn
        upstream [m3/h]; at least a tenth of the feed's share.
    """
    feed = station.targets.flow_feed_m3_h
    mud = sum(v.mud_flow_m3_h for v in station.of_kind("settler") if v.step < vessel.step)
    group = [v for v in station.vessels if v.step == vessel.step]
    share = vessel.volume_m3 / sum(v.volume_m3 for v in group)
    return share * max(feed + filtrate_at(station, vessel) - mud, 0.1 * feed)


def target_volume_m3(vessel: Vessel) -> float:
    """Volume the juice reaches at target level [m3]."""
    return vessel.volume_m3 * (1.0 - vessel.dead_fraction) * vessel.level_pct / 100.0


def target_concentration(station: Station, vessel: Vessel) -> float:
    """Sucrose per m3 inside relative to the juice fed to the vessel, at target [-]."""
    if vessel.brix_pct is None:
        return 1.0
    fed = station.targets.brix_pct
    return float(concentration_ratio(vessel.brix_pct, fed, vessel.temp_degc))


def souring_1_min(station: Station, temp_degc: Numeric) -> Numeric:
    """Fall of pH by acid made, as it would be at pH 7.

    Parameters
    ----------
    station : Station
        Its kinetics, and the juice at its target Brix and purity: acids and what buffers them
        thin out and thicken together, so the juice's own Brix does not matter.
    temp_degc : float or ndarray
        Juice temperature [degC].

    Returns
    -------
    float or ndarray
        Fall [1/min].
    """
    targets, kinetics = station.targets, station.kinetics
    hexose = hexose_mmol_kg(targets.brix_pct, targets.purity_pct, kinetics.rs_per_sucrose_pct)
    hourly = ph_fall_1_h(
        7.0,
        temp_degc,
        hexose,
        kinetics.rs_rate_ph7_1_h,
        kinetics.acid_per_hexose,
        kinetics.buffer_meq_kg_ph,
    )
    return hourly / 60.0


def reference_souring(station: Station) -> dict[str, tuple[float, float]]:
    """How far pH falls by acid made with the station at its targets.

    Parameters
    ----------
    station : Station
        The station.

    Returns
    -------
    dict of str to tuple of float
        Vessel name to the fall up to the vessel, since the last pH probe, and the fall in each of
        its cells, both as at pH 7 [-]. Nothing falls in a liming tank or settler: their probes
        tell.
    """
    falls: dict[str, tuple[float, float]] = {}
    upstream = 0.0
    for group in station.in_flow_order:
        after: list[float] = []
        for vessel in group:
            if vessel.kind in ("liming_tank", "settler"):
                falls[vessel.name] = (upstream, 0.0)
                after.append(0.0)
                continue
            flow = usual_flow_m3_h(station, vessel) / target_concentration(station, vessel)
            minutes = 60.0 * target_volume_m3(vessel) / flow
            here = minutes * float(souring_1_min(station, vessel.temp_degc))
            falls[vessel.name] = (upstream, here / max(vessel.tanks, 1))
            after.append(upstream + here)
        upstream = sum(after) / len(after)
    return falls
