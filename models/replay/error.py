"""How sure a saving is: errors that the record and the replay share do not count twice."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from features.base import LN10, Station
from features.kinetics import Z90
from features.replay import Change
from models.account import Surroundings, Tonnes, error_of_period

#: What the physics of a change leaves out, as a share of the saving (estimates; simulated mills
#: 300-303 were looked at): a pH is carried on by a buffer that is believed, a temperature by an
#: activation energy and a slope of pH, a level by a volume, a flow by the age of the juice.
FORM: Final[dict[str, float]] = {
    "ph_limed": 0.12,
    "ph_limed_target": 0.12,
    "temp_degc": 0.12,
    "level_pct": 0.12,
    "mud_level_pct": 0.35,
    "in_service": 0.20,
    "flow": 0.25,
    "imbibition": 0.25,
    "stop_h": 0.20,
    "filtrate_to": 0.50,
}
#: Where some vessels gain what others lose: error of what cancels, as a share of it (estimate).
_CANCELS: Final = 0.15


def saving_with_interval(
    saved_kg: Mapping[str, float],
    around: Surroundings,
    station: Station,
    changes: Sequence[Change],
) -> Tonnes:
    """Saving with its 90 % interval.

    Parameters
    ----------
    saved_kg : mapping of str to float
        Recorded less replayed loss, by zone [kg].
    around : Surroundings
        Of the record in the period.
    station : Station
    changes : sequence of Change

    Returns
    -------
    Tonnes

    Notes
    -----
    The level of the kinetics, and a pH probe that stands wrong, move the record and the replay by
    the same factor: they multiply the difference. A pH that is held at a value of its own does not
    move with the probe: there the whole error of the record adds. The multiplying errors widen the
    interval as a logarithm, the adding ones on either side.
    """
    saved = sum(saved_kg.values())
    gross = sum(abs(kg) for kg in saved_kg.values())
    if gross == 0.0:
        return Tonnes(0.0, 0.0, 0.0)
    weighed = replace(around, lost_kg={zone: abs(kg) for zone, kg in saved_kg.items()})
    common = error_of_period(weighed, station).log_sd
    form = math.hypot(*(FORM[c.what] for c in changes if not c.nothing))
    spread = math.exp(Z90 * math.hypot(common, form))
    adding = [_CANCELS * (gross - abs(saved))]
    if any(c.what == "ph_limed" and c.how != "by" for c in changes):
        adding.append(LN10 * around.ph_sd * sum(around.lost_kg.get(zone, 0.0) for zone in saved_kg))
    near, far = saved / spread, saved * spread
    low, high = (near, far) if saved >= 0.0 else (far, near)
    wide = Z90 * math.hypot(*adding)
    low = saved - math.hypot(saved - low, wide)
    high = saved + math.hypot(high - saved, wide)
    return Tonnes(saved / 1000.0, low / 1000.0, high / 1000.0)
