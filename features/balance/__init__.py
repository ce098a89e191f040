"""Balances of sugars between two samples, and polarisation."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from features.balance.balances import MethodErrors, PairEstimates, pair_estimates
    from features.balance.pol import pol_lost_per_sucrose
else:
    __getattr__ = handed_out(__name__, __file__)
