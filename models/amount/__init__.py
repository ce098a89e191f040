"""How much was lost: drivers, baseline, probe errors, and the level by the laboratory."""

from models.amount.chemical import PAIRED, Balance, chemical_balance
from models.amount.drivers import DRIVERS, Excess, split_excess
from models.amount.lab import (
    LabPoints,
    LabSeries,
    hours_since,
    lab_points,
    lab_series,
    of_point,
    zones_between,
)
from models.amount.mill_balance import OrdinaryBalance, ordinary_balance
from models.amount.probes import ProbeBias, ph_standing_error, probe_biases
from models.amount.reconcile import (
    LEAST_PAIRS,
    Multiplier,
    expected_fit,
    join_methods,
)
from models.amount.souring import zones_behind
