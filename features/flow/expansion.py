"""Heat expansion: juice is followed as the volume it had where it was fed, so that mass is kept.

A meter on juice of 30 degC and a vessel at 98 degC differ by 3.7 %. Flows and volumes are taken to
one temperature, that of the feed at target: "as fed".
"""

from __future__ import annotations

from features.base import Numeric, Station, Vessel
from features.juice import density_kg_m3


def as_fed(station: Station, temp_degc: Numeric) -> Numeric:
    """Volume as fed of a cubic metre of juice at a temperature.

    Parameters
    ----------
    station : Station
        Its targets: Brix and where the feed is metered. Between 0 and 20 Brix the ratio moves by
        0.1 % (computed), so that the juice's own Brix does not matter.
    temp_degc : float or ndarray
        Temperature of the juice [degC].

    Returns
    -------
    float or ndarray
        Ratio of densities [-]; 0.965 for juice of 98 degC that was fed at 30 degC.
    """
    brix = station.targets.brix_pct
    return density_kg_m3(brix, temp_degc) / density_kg_m3(brix, feed_meter_degc(station))


def feed_meter_degc(station: Station) -> float:
    """Juice temperature at target where the feed is metered [degC].

    Parameters
    ----------
    station : Station
        The station; without a meter on the mixed juice the first meter down the train counts, as
        in `features.flow.probes.read_feed`.
    """
    if station.signal("flow", "mixed_juice") is not None:
        return station.targets.temp_mixed_degc
    before = station.targets.temp_mixed_degc
    for group in station.in_flow_order:
        for port in ("in", "", "out"):
            if all(station.signal("flow", vessel.name, port) for vessel in group):
                return _mean_degc(group) if port == "out" else before
        before = _mean_degc(group)
    return station.targets.temp_mixed_degc


def _mean_degc(group: tuple[Vessel, ...]) -> float:
    return sum(vessel.temp_degc for vessel in group) / len(group)
