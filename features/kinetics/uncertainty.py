"""How sure a calculated loss is: every measured input carried to the loss, by name.

loss = multiplier x k(hot pH, temperature) x sucrose held. In the logarithm this is a sum, so each
error of an input becomes a share of the loss. An excess is a loss less the mill's own usual one,
which shares standing errors of temperature, volume and kinetics: they multiply the excess. What
moves the loss but not the usual one, such as a pH probe that has begun to drift, counts with a
*leverage*, loss over excess, and adds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from features.base import KELVIN, LN10
from features.kinetics.kinetics import VUKOV_B_K

#: Normal deviate of a two-sided 90 % interval.
Z90 = 1.6449
#: An adding error above this share of the loss says no more than "unknown".
_MOST_RELATIVE = 3.0


@dataclass(frozen=True, slots=True)
class LossState:
    """Where on the curve the loss lies.

    Attributes
    ----------
    temp_degc : float
        Juice temperature, averaged by loss [degC], 60 to 130.
    level_degc : float
        Temperature at which the level of the kinetics was fitted [degC]: the error of the pH
        slope counts from there.
    ph_slope : float
        d(pH)/dT of the juice [1/K].
    ph_leverage, flow_leverage : float
        Change of the excess by a relative change of the rate or the flow [-]. 1 for a whole loss;
        loss over excess where the excess is due to pH. 0 where the flow does not enter.
    """

    temp_degc: float
    level_degc: float
    ph_slope: float = -0.006
    ph_leverage: float = 1.0
    flow_leverage: float = 0.0


@dataclass(frozen=True, slots=True)
class InputErrors:
    """Standard errors of the inputs; random ones are those of the mean over the period.

    Attributes
    ----------
    ph_random, ph_systematic : float
        Cold pH [pH]; systematic is the probe's offset that grabs leave open.
    temp_random_k, temp_systematic_k : float
        Temperature [K]; half a kelvin is common practice for a plant probe.
    volume, flow, sucrose : float
        Relative [-]: volume of juice, flow, sucrose content by Brix and purity.
    multiplier_log_sd : float
        Logarithm of the level of the kinetics [-]: of the multiplier with the laboratory's errors,
        and of volume, temperature and pH slope where these are not given apart.
    ph_slope_sd : float
        d(pH)/dT [1/K].
    scatter : float
        Everyday scatter of the excess over the period, relative to it [-]; adds.
    form_log_sd : float
        What the model of vessels leaves out: dead space, pH profile inside (estimate).
    """

    ph_random: float = 0.0
    ph_systematic: float = 0.05
    temp_random_k: float = 0.0
    temp_systematic_k: float = 0.5
    volume: float = 0.1
    flow: float = 0.02
    sucrose: float = 0.01
    multiplier_log_sd: float = 0.6
    ph_slope_sd: float = 0.003
    scatter: float = 0.0
    form_log_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Contribution:
    """Share of one input in the error of a loss.

    Attributes
    ----------
    name : str
    random, systematic : float
        Standard error by this input alone, relative to the loss [-].
    adds : bool
        True for an error that adds to the loss, False for one that multiplies it.
    """

    name: str
    random: float
    systematic: float
    adds: bool = False

    @property
    def size(self) -> float:
        """Standard error by this input alone, both kinds together [-]."""
        return math.hypot(self.random, self.systematic)


@dataclass(frozen=True, slots=True)
class LossError:
    """Error of a loss.

    Attributes
    ----------
    contributions : tuple of Contribution
    random_log_sd, systematic_log_sd : float
        Standard error of the logarithm by each kind alone [-].
    log_sd : float
        By both [-].
    """

    contributions: tuple[Contribution, ...]
    random_log_sd: float
    systematic_log_sd: float
    log_sd: float

    def interval(self, loss: float) -> tuple[float, float]:
        """Bounds of the 90 % interval around a loss [its unit]."""
        spread = math.exp(Z90 * self.log_sd)
        return loss / spread, loss * spread


def rate_per_kelvin(temp_degc: float, ph_slope: float = -0.006) -> float:
    """Relative change of the inversion rate per kelvin at constant cold pH.

    Parameters
    ----------
    temp_degc : float
        Juice temperature [degC], 60 to 130.
    ph_slope : float
        d(pH)/dT of the juice [1/K]; 0 for constant hot pH.

    Returns
    -------
    float
        [1/K]; 0.094 at 100 degC and constant hot pH. Water's own share (below 0.001) is left out.
    """
    return LN10 * (VUKOV_B_K / (temp_degc + KELVIN) ** 2 - ph_slope)


def loss_error(state: LossState, errors: InputErrors) -> LossError:
    """Carry the errors of the inputs to a loss, to first order and by name.

    Parameters
    ----------
    state : LossState
    errors : InputErrors

    Returns
    -------
    LossError

    Raises
    ------
    ValueError
        If a leverage is negative, or an error negative or not a number.

    Notes
    -----
    pH moves the rate by ln 10 a unit (first order in hydrogen ions), temperature by Arrhenius and
    by the pH slope. Adding errors enter the logarithm as sqrt(ln(1 + r^2)). The 90 % interval
    covers 88-92 % of Monte Carlo draws while the adding errors together stay below a third of the
    loss, and up to 96 % at half of it (``tests/features/test_uncertainty.py``).
    """
    _check(state, errors)
    kelvin = rate_per_kelvin(state.temp_degc, state.ph_slope)
    levered = state.ph_leverage > 1.0
    by_ph = LN10 * (state.ph_leverage if levered else 1.0)
    from_level = LN10 * abs(state.temp_degc - state.level_degc)
    parts = (
        Contribution("ph", by_ph * errors.ph_random, by_ph * errors.ph_systematic, levered),
        Contribution(
            "temperature", kelvin * errors.temp_random_k, kelvin * errors.temp_systematic_k
        ),
        Contribution("volume", 0.0, errors.volume),
        Contribution("flow", 0.0, state.flow_leverage * errors.flow, adds=True),
        Contribution("sucrose", 0.0, errors.sucrose),
        Contribution("multiplier", 0.0, errors.multiplier_log_sd),
        Contribution("ph_slope", 0.0, from_level * errors.ph_slope_sd),
        Contribution("scatter", errors.scatter, 0.0, adds=True),
        Contribution("model_form", 0.0, errors.form_log_sd),
    )
    random = _log_sd([(p.random, p.adds) for p in parts])
    systematic = _log_sd([(p.systematic, p.adds) for p in parts])
    both = _log_sd([(math.hypot(p.random, p.systematic), p.adds) for p in parts])
    return LossError(parts, random, systematic, both)


def _log_sd(sizes: list[tuple[float, bool]]) -> float:
    adding = math.hypot(*(size for size, adds in sizes if adds))
    multiplying = math.hypot(*(size for size, adds in sizes if not adds))
    return math.sqrt(multiplying**2 + math.log1p(min(adding, _MOST_RELATIVE) ** 2))


def _check(state: LossState, errors: InputErrors) -> None:
    named = {name: getattr(errors, name) for name in InputErrors.__slots__}
    named |= {name: getattr(state, name) for name in ("ph_leverage", "flow_leverage")}
    for name, value in named.items():
        if not value >= 0.0:
            raise ValueError(f"{name} is {value}; give 0 or more")
