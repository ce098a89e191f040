"""The station at its targets: flow through each vessel, and how far pH falls on the way."""

from __future__ import annotations

import numpy as np

from features.base import FloatArray, Numeric, Station, Vessel
from features.flow.contents import MOST_SLICES
from features.flow.expansion import as_fed
from features.flow.filtrate import filtrate_at
from features.flow.vessel_ph import Region
from features.kinetics import (
    concentration_ratio,
    hexose_mmol_kg,
    ph_after_acid,
    ph_fall_1_h,
)

#: Rounds until a pH and what hangs on it agree to the last digit that matters.
_ROUNDS = 12


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
        upstream [m3/h as fed]; at least a tenth of the feed's share.
    """
    feed = station.targets.flow_feed_m3_h
    mud = sum(
        target_mud_m3_h(station, v) for v in station.of_kind("settler") if v.step < vessel.step
    )
    group = [v for v in station.vessels if v.step == vessel.step]
    share = vessel.volume_m3 / sum(v.volume_m3 for v in group)
    return share * max(feed + filtrate_at(station, vessel) - mud, 0.1 * feed)


def target_mud_m3_h(station: Station, settler: Vessel) -> float:
    """Underflow of a settler at target [m3/h as fed]."""
    mud_degc = settler.temp_degc if settler.mud_temp_degc is None else settler.mud_temp_degc
    return settler.mud_flow_m3_h * float(as_fed(station, mud_degc))


def target_cells_min(station: Station, vessel: Vessel) -> list[float]:
    """Time that juice spends in each cell of a vessel at target [min].

    The mud of a settler is drawn from its first cell: what is left takes longer through the others.
    """
    cells = max(vessel.tanks, 1)
    held = target_volume_m3(vessel) * float(as_fed(station, vessel.temp_degc)) / cells
    flow = usual_flow_m3_h(station, vessel) / target_concentration(station, vessel)
    mud = target_mud_m3_h(station, vessel) if vessel.kind == "settler" else 0.0
    after = max(flow - mud, 0.1 * flow)
    return [60.0 * held / (flow if cell == 0 else after) for cell in range(cells)]


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


def reference_acidities(station: Station, regions: dict[str, Region]) -> dict[str, float]:
    """Mean of 10**-pH over the content of every vessel, the station at its targets.

    Parameters
    ----------
    station : Station
        The station.
    regions : dict of str to Region
        Which probes tell each vessel's pH.

    Returns
    -------
    dict of str to float
        Vessel name to its acidity [-]. pH falls by the acid made from probe to probe, and in a
        settler further, to what its outlet is meant to read.
    """
    targets = station.targets
    found: dict[str, float] = {}
    ph = targets.ph_mixed if station.of_kind("liming_tank") else targets.ph_limed
    last_liming = max((v.step for v in station.of_kind("liming_tank")), default=None)
    for group in station.in_flow_order:
        left = []
        for vessel in group:
            region = regions[vessel.name]
            if region == "liming":
                phs = np.array([targets.ph_limed])
            elif region == "settler":
                phs = _settler_phs(station, vessel, ph)
            else:
                phs = _falling(station, vessel, ph, 0.0) + vessel.ph_shift
            found[vessel.name] = float(np.mean(10.0**-phs))
            left.append(float(phs[-1]) - vessel.ph_shift)
        ph = sum(left) / len(left)
        if any(regions[vessel.name] == "settler" for vessel in group):
            ph = targets.ph_clear
        elif group[0].step == last_liming:
            ph = targets.ph_limed
    return found


def _settler_phs(station: Station, vessel: Vessel, ph_in: float) -> FloatArray:
    """PH of the cells of a settler whose outlet reads the target."""
    fall = ph_in - station.targets.ph_clear
    for _ in range(_ROUNDS):
        phs = _falling(station, vessel, ph_in, fall)
        fall += float(phs[-1]) - station.targets.ph_clear
    return _falling(station, vessel, ph_in, fall)


def _falling(station: Station, vessel: Vessel, ph_in: float, fall: float) -> FloatArray:
    """PH of each cell, or along a pipe, with the acid made and a fall that goes on in the end."""
    minutes = np.asarray(target_cells_min(station, vessel))
    rate = float(souring_1_min(station, vessel.temp_degc))
    pace = 1.0 / max(vessel.ph_fall_min, 1e-3) if vessel.kind == "settler" else 0.0
    if vessel.tanks == 0:
        ages = (np.arange(MOST_SLICES) + 0.5) / MOST_SLICES * minutes[0]
        done = -np.expm1(-pace * ages) / -np.expm1(-pace * minutes[0]) if pace else 0.0
        return np.asarray(ph_after_acid(ph_in, rate * ages) - fall * done)
    phs, soured, to_fall = [], 0.0, 1.0
    left = np.cumprod(1.0 / (1.0 + pace * minutes))
    for cell, to_fall in zip(minutes, left, strict=True):
        # The acid made in a stirred cell hangs on the pH that it leaves there.
        fallen = fall * (1.0 - to_fall) / (1.0 - left[-1]) if pace else 0.0
        ph = ph_in - soured - fallen + vessel.ph_shift
        made = 0.0
        for _ in range(_ROUNDS):
            made = rate * cell * 3.0 ** (ph - made - 7.0)
        soured += made
        phs.append(ph_in - soured - fallen)
    return np.array(phs)
