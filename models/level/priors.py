"""What is believed of a mill before its analyses are read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from features.base import LN10, Station, Vessel
from features.kinetics import rate_per_kelvin

#: The multiplier wanders by this much in a week [log] (estimate: non-sugars change with the cane).
WALK_A_ROOT_WEEK: Final = 0.1
#: What the fit's own model leaves out of the level (estimate: hard simulated mills, seeds 320-338,
#: where samples alone were too sure by a half).
FORM_LOG_SD: Final = 0.15
#: A method is off by this share of the result, otherwise at each point (estimate): lime salts,
#: colour and starch pull reducing sugars, what settles out pulls pol and Brix.
RS_OFF: Final = 0.03
#: The same for pol over Brix, relative.
POL_OFF: Final = 0.007
#: Liming and filtrate returned lie between mixed juice and all others: so much more, as a share of
#: the reducing sugars (estimate).
RS_OFF_MIXED: Final = 0.05
#: Destruction of reducing sugars is common practice; logarithm of its level (estimate).
DESTROYED_LOG_SD: Final = 0.4
#: Vessel temperatures that stand wrong all season [K]; common practice for a plant probe.
_TEMP_K: Final = 0.5
#: Dead space and the pH profile inside a vessel (estimate).
_FORM_LOG_SD: Final = 0.05
#: Mud: its volume and pH are known far less well (estimate).
_MUD_LOG_SD: Final = 0.3


@dataclass(frozen=True, slots=True)
class Believed:
    """Standing errors of one zone's loss beside the multiplier that all zones share.

    Attributes
    ----------
    log_sd : float
        Standard error of the logarithm [-]: volume, temperature, form.
    per_slope : float
        Change of the logarithm by one standard error of the pH slope [-].
    """

    log_sd: float
    per_slope: float


def believed_of(station: Station, zone: str) -> Believed:
    """Standing errors of a zone before any analysis.

    Parameters
    ----------
    station : Station
    zone : str
        A vessel, or a settler's mud as ``NAME:mud``.
    """
    name, _, part = zone.partition(":")
    vessel = next(v for v in station.vessels if v.name == name)
    own = _MUD_LOG_SD if part else vessel.volume_rel_sd
    kelvin = rate_per_kelvin(min(max(vessel.temp_degc, 60.0), 130.0), station.kinetics.ph_slope)
    log_sd = math.hypot(own, _TEMP_K * kelvin, _FORM_LOG_SD)
    away = vessel.temp_degc - _level_degc(station.vessels)
    return Believed(log_sd, -LN10 * station.kinetics.ph_slope_sd * away)


def _level_degc(vessels: tuple[Vessel, ...]) -> float:
    """Where most juice stands: the pH slope is counted from there."""
    return next((v.temp_degc for v in vessels if v.kind == "settler"), 97.0)
