"""How many tonnes, how sure, how worth acting on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.candidates import Candidate
from models.causes import Verdict
from models.drivers import Excess
from models.probes import ProbeBias, ph_standing_error
from models.reconcile import Multiplier

_Z90 = 1.645
#: Volumes, dead space and the pH profile inside vessels are known to about a fifth (estimate).
_MODEL_LOG_SD = 0.2


@dataclass(frozen=True, slots=True)
class Amount:
    """Sucrose lost with its 90 % interval [kg]."""

    mid_kg: float
    low_kg: float
    high_kg: float

    @classmethod
    def lognormal(cls, mid_kg: float, log_sd: float) -> Amount:
        """Interval of a positive amount whose errors multiply."""
        spread = math.exp(_Z90 * log_sd)
        return cls(mid_kg, mid_kg / spread, mid_kg * spread)


def interval_of(
    item: Candidate, excess: Excess, biases: dict[str, ProbeBias], multiplier: Multiplier
) -> Amount:
    """Amount of a candidate with everything that makes it uncertain.

    Multiplying errors (kinetic multiplier, volumes) and adding ones (everyday noise, the standing
    error of the pH) are joined to one log-normal interval.
    """
    kg = item.kg
    parts = [item.span, *(span for _, _, span in item.joined)]
    noise = math.sqrt(sum(p.kg_sd**2 for p in parts))
    window = slice(item.span.start, item.span.end)
    total = multiplier.value * sum(float(np.nansum(v[window])) for v in excess.loss_kg_h.values())
    on_ph = item.channel.name == "ph"
    ph_error = math.log(10.0) * ph_standing_error(biases, window) * total / 60.0 if on_ph else 0.0
    relative = math.hypot(noise, ph_error) / max(kg, 1e-9)
    log_sd = math.sqrt(
        multiplier.log_sd**2 + _MODEL_LOG_SD**2 + math.log1p(min(relative, 3.0) ** 2)
    )
    return Amount.lognormal(kg, log_sd)


def confidence_of(z: float, verdict: Verdict, amount: Amount) -> float:
    """Chance that the finding is real and the cause right, between 0 and 0.99.

    Falls with weak evidence for the episode, with a close second cause, and with an interval that
    spans more than a factor of about three.
    """
    real = 1.0 / (1.0 + math.exp(-(z - 4.0) / 1.5))
    cause = max(verdict.weights.values())
    spread = math.log(amount.high_kg / amount.low_kg) if amount.low_kg > 0 else 5.0
    sharp = 1.0 / (1.0 + max(spread - 1.1, 0.0) / 4.0)
    return round(min(real * (0.4 + 0.6 * cause) * sharp, 0.99), 3)
