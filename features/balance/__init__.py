"""Balances of sugars between two samples, and polarisation."""

from features.balance.balances import MethodErrors, PairEstimates, pair_estimates
from features.balance.pol import pol_lost_per_sucrose
