"""Smallest finding worth a line, in tonnes that follow the size of the mill and its prices."""

from __future__ import annotations

from features.base import Targets
from features.juice import density_kg_m3

#: Share of the sucrose of an ordinary day that is worth a person's look (judgement): a quarter of
#: a minute of the mill's feed. At 250 t cane/h and 500 a tonne it is worth about 75, which is what
#: one to two hours of a chemist cost; a mill of four times the size looks past four times as much.
SHARE_OF_DAY = 1.8e-4
#: A stated worth moves the size's own figure by this factor at most (judgement): a slip in a price
#: must neither silence the search nor flood the list.
MOST_FACTOR = 3.0
#: Bounds whatever the description says (judgement) [t]: mills of about 20 and 5,000 t cane/h.
LEAST_T, MOST_T = 0.01, 3.0
_JUICE_DEGC = 30.0


def sucrose_fed_t_h(targets: Targets) -> float:
    """Sucrose in the mixed juice that the mill means to feed [t/h]."""
    juice_t_h = targets.flow_feed_m3_h * density_kg_m3(targets.brix_pct, _JUICE_DEGC) / 1000.0
    return float(juice_t_h * targets.brix_pct / 100.0 * targets.purity_pct / 100.0)


def smallest_finding_t(targets: Targets, worth_t: float | None = None) -> float:
    """Loss below which an episode is not worth a line.

    It rests on the description alone, so that every night asks for the same.

    Parameters
    ----------
    targets : Targets
        What the mill means to feed.
    worth_t : float, optional
        Sucrose that is worth what a look costs [t], where the mill says so: money over price.

    Returns
    -------
    float
        [t sucrose], two significant digits, 0.01 to 3.
    """
    by_size = SHARE_OF_DAY * 24.0 * sucrose_fed_t_h(targets)
    wanted = by_size if worth_t is None else worth_t
    held = min(max(wanted, by_size / MOST_FACTOR), by_size * MOST_FACTOR)
    return float(f"{min(max(held, LEAST_T), MOST_T):.2g}")
