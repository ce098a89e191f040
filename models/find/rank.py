"""How many tonnes, how sure, how worth acting on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from features.kinetics import Z90, InputErrors, LossError, LossState, loss_error
from models.amount import Excess, ph_standing_error
from models.base import Array
from models.cause import NamedCause
from models.detect import Candidate, Context
from models.level import Level


@dataclass(frozen=True, slots=True)
class Amount:
    """Sucrose lost with its 90 % interval [kg]."""

    mid_kg: float
    low_kg: float
    high_kg: float

    @classmethod
    def lognormal(cls, mid_kg: float, log_sd: float) -> Amount:
        """Interval of a positive amount whose errors multiply."""
        spread = math.exp(Z90 * log_sd)
        return cls(mid_kg, mid_kg / spread, mid_kg * spread)


def error_of(item: Candidate, excess: Excess, context: Context, level: Level) -> LossError:
    """Everything that makes the amount of a candidate uncertain, by name.

    What lies above the mill's own usual loss shares the standing errors of kinetics, volume,
    temperature and pH slope with it: they multiply. The level holds them all at once, so that what
    the laboratory leaves known of their product is not counted apart. A pH error that comes and
    goes moves the whole loss, and a flow error the whole loss at targets: in an excess due to
    either they weigh so much more.
    """
    window = slice(item.span.start, item.span.end)
    kg = max(item.kg, 1e-9)
    zones = item.channel.zones
    loss_kg = {z: _sum_kg(v[window]) for z, v in excess.loss_kg_h.items()}
    baseline_kg = sum(_sum_kg(excess.reference_kg_h[z][window]) for z in zones)
    share = _shares(loss_kg, zones)
    # Temperature and pH slope stand in the level: their errors count nothing here.
    degc = _level_degc(context)
    state = LossState(
        temp_degc=degc,
        level_degc=degc,
        ph_slope=context.station.kinetics.ph_slope,
        ph_leverage=level.multiplier.value * sum(loss_kg.values()) / kg if _on_ph(item) else 1.0,
        flow_leverage=level.multiplier.value * baseline_kg / kg if _on_flow(item) else 0.0,
    )
    spans = [item.span, *(span for _, _, span in item.joined)]
    return loss_error(
        state,
        InputErrors(
            ph_systematic=ph_standing_error(context.biases, window),
            temp_systematic_k=0.0,
            volume=0.0,
            multiplier_log_sd=level.log_sd(share, item.span.start, item.span.end),
            ph_slope_sd=0.0,
            scatter=math.hypot(*(s.kg_sd for s in spans)) / kg,
        ),
    )


def _on_ph(item: Candidate) -> bool:
    return item.channel.name in ("ph", "drop")


def _on_flow(item: Candidate) -> bool:
    return item.channel.name == "throughput"


def _sum_kg(kg_h: Array) -> float:
    return float(np.nansum(kg_h)) / 60.0


def _shares(loss_kg: dict[str, float], zones: tuple[str, ...]) -> dict[str, float]:
    total = sum(loss_kg[z] for z in zones)
    return {z: loss_kg[z] / total if total > 0.0 else 1.0 / len(zones) for z in zones}


def _level_degc(context: Context) -> float:
    """Temperature at which laboratory balances fix the level of the kinetics: the settler's."""
    settlers = context.station.of_kind("settler") or context.station.vessels
    return settlers[0].temp_degc


def confidence_of(z: float, verdict: NamedCause, amount: Amount) -> float:
    """How sure a finding and its cause are: a mark between 0 and 0.99, no probability.

    Falls with weak evidence for the episode, with a close second cause, and with an interval that
    spans more than a factor of about three.
    """
    real = 1.0 / (1.0 + math.exp(-(z - 4.0) / 1.5))
    cause = max(verdict.weights.values())
    spread = math.log(amount.high_kg / amount.low_kg) if amount.low_kg > 0 else 5.0
    sharp = 1.0 / (1.0 + max(spread - 1.1, 0.0) / 4.0)
    return round(min(real * (0.4 + 0.6 * cause) * sharp, 0.99), 3)
