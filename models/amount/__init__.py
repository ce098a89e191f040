"""How much was lost: drivers, baseline, probe errors, and the level by the laboratory."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
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
        Multiplier,
        join_methods,
    )
    from models.amount.souring import zones_behind
else:
    __getattr__ = handed_out(__name__, __file__)
