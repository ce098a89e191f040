"""How sure the tonnes of a period are: the one place where errors of inputs become an interval.

The whole loss errs as findings do, by `features.kinetics.loss_error`. What lies above a level (the
mill's usual, or its targets) may be of either sign: its errors are added as they are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from features.base import Station
from features.kinetics import Z90, InputErrors, LossError, LossState, loss_error
from models.detect import vessel_of

#: Drivers that a wrong pH makes or hides, and that a wrong flow does.
_ON_PH = frozenset({"ph", "drop"})
_ON_FLOW = frozenset({"throughput"})
_LN10 = math.log(10.0)
_FLOW_REL_SD = 0.02


@dataclass(frozen=True)
class Tonnes:
    """Sucrose with its 90 % interval [t]."""

    mid: float
    low: float
    high: float

    def scaled(self, by: float) -> Tonnes:
        """Share of it."""
        low, high = sorted((self.low * by, self.high * by))
        return Tonnes(self.mid * by, low, high)


@dataclass(frozen=True)
class Surroundings:
    """What the errors of a period hang on.

    Attributes
    ----------
    lost_kg : mapping of str to float
        Loss of each zone [kg].
    temp_degc : mapping of str to float
        Mean temperature of each zone, where it is known [degC].
    ph_sd : float
        Standing error of the corrected pH [pH].
    level_log_sd : float
        Log standard error of the level of the loss, volumes, temperatures and pH slope in it [-].
    """

    lost_kg: Mapping[str, float]
    temp_degc: Mapping[str, float]
    ph_sd: float
    level_log_sd: float


def error_of_period(around: Surroundings, station: Station) -> LossError:
    """Error of the whole loss of a period, by name.

    Parameters
    ----------
    around : Surroundings
    station : Station

    Returns
    -------
    LossError
    """
    total = sum(around.lost_kg.values())
    share = {z: kg / total if total > 0.0 else 0.0 for z, kg in around.lost_kg.items()}
    settlers = station.of_kind("settler") or station.vessels
    level_degc = settlers[0].temp_degc
    vessels = {zone: vessel_of(station, zone) for zone in share}
    temp = sum(w * around.temp_degc.get(z, vessels[z].temp_degc) for z, w in share.items())
    return loss_error(
        LossState(
            temp_degc=temp or level_degc,
            level_degc=level_degc,
            ph_slope=station.kinetics.ph_slope,
        ),
        InputErrors(
            ph_systematic=around.ph_sd,
            temp_systematic_k=0.0,
            volume=0.0,
            multiplier_log_sd=around.level_log_sd,
            ph_slope_sd=0.0,
        ),
    )


def lost_tonnes(kg: float, error: LossError, others: tuple[Tonnes, ...] = ()) -> Tonnes:
    """The whole loss with its interval; what microbes ate comes on top with errors of its own.

    Parameters
    ----------
    kg : float
        By kinetics [kg].
    error : LossError
    others : tuple of Tonnes
        Losses that do not follow from kinetics.
    """
    total = kg / 1000.0 + sum(other.mid for other in others)
    if total <= 0.0:
        return Tonnes(total, total, total)
    sds = [kg / 1000.0 * error.log_sd]
    sds += [o.mid * math.log(o.high / o.low) / (2 * Z90) for o in others if 0.0 < o.low < o.high]
    spread = math.exp(Z90 * math.hypot(*sds) / total)
    return Tonnes(total, total / spread, total * spread)


def above_tonnes(
    parts_kg: Mapping[str, float],
    around: Surroundings,
    error: LossError,
    others: tuple[Tonnes, ...] = (),
) -> Tonnes:
    """What lies above a level, of either sign, with its interval.

    Parameters
    ----------
    parts_kg : mapping of str to float
        Its parts by driver [kg].
    around : Surroundings
        Of all that was lost where these parts are.
    error : LossError
        Of the whole loss.
    others : tuple of Tonnes
        Losses that do not follow from kinetics; they come on top.

    Notes
    -----
    Standing errors of level, temperature and volume multiply it. A pH that is wrong now and not
    usually moves the whole loss, and a wrong flow the loss at targets: in what is due to either
    they add (`features.kinetics.uncertainty`).
    """
    kg = sum(parts_kg.values())
    lost = sum(around.lost_kg.values())
    multiplying = math.hypot(
        *(c.systematic for c in error.contributions if not c.adds and c.name != "ph")
    )
    sizes = [multiplying * kg]
    on_ph = _ON_PH & parts_kg.keys()
    sizes.append(_LN10 * around.ph_sd * (lost if on_ph else abs(kg)))
    sizes.append(_FLOW_REL_SD * lost if _ON_FLOW & parts_kg.keys() else 0.0)
    sds = [size / 1000.0 for size in sizes]
    sds += [o.mid * math.log(o.high / o.low) / (2 * Z90) for o in others if 0.0 < o.low < o.high]
    half = Z90 * math.hypot(*sds)
    mid = kg / 1000.0 + sum(other.mid for other in others)
    return Tonnes(mid, mid - half, mid + half)
