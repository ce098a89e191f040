"""How much of the settlers juice passes through, from the swings of pH that cross them."""

from __future__ import annotations

import numpy as np

from features.base import Station
from features.flow import EffectiveResidence, effective_residence
from models.base import Minutes


def crossed(
    minutes: Minutes, station: Station, start: int, end: int, tanks: tuple[int, ...] = (2, 3, 4)
) -> tuple[EffectiveResidence, float] | None:
    """Volume that juice passes through between the limed and the clear probe, and what is held.

    Parameters
    ----------
    minutes : Minutes
    station : Station
    start, end : int
        Minutes to look at.
    tanks : tuple of int
        Tanks in series to try for the settlers' mixing.

    Returns
    -------
    (EffectiveResidence, float) or None
        What the swings tell, and the nominal volume of the settlers' clear zones [m3]; None where
        there is no settler with a known volume.
    """
    names = [v.name for v in station.of_kind("settler") if v.name in minutes.zones]
    window = slice(start, end)
    volumes = [minutes.zones[n]["volume_m3"][window] for n in names]
    known = [v[np.isfinite(v)] for v in volumes]
    if not names or any(len(v) == 0 for v in known):
        return None
    nominal = float(sum(np.median(v) for v in known))
    if nominal <= 0.0:
        return None
    seen = minutes.station
    found = effective_residence(
        seen["ph_limed"][window],
        seen["ph_clear"][window],
        seen["flow_feed_m3_h"][window],
        nominal,
        tanks,
    )
    return found, nominal
