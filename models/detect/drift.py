"""When a pH probe drifted: searched in what is believed of its bias, where the drift stands alone.

The loss that a drift makes lies under the everyday unrest of the limed juice, so that in kilograms
only its last days show. The bias itself, which the laboratory's grabs tell, shows it from the day
it began.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.amount import ProbeBias
from models.base import MINUTES_PER_BLOCK, Array, Minutes, block_means
from models.search import extents_of, look_at

#: Drifts that chance makes no more often keep their hours out of what is usual [1/week].
_HARDLY_CHANCE = 0.02
#: A rise leans on what it leads to from this share of it on.
_LEANING = 0.3
#: Less bias costs less than anybody would look for [pH] (estimate).
_LEAST_PH = 0.05


def drifting_hours(bias: ProbeBias | None, minutes: Minutes) -> NDArray[np.bool_]:
    """Minutes in which a probe surely read higher than it usually does.

    Parameters
    ----------
    bias : ProbeBias, optional
        Of the limed-juice probe; None where no grab tells.
    minutes : Minutes

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    drifting = np.zeros(minutes.n, dtype=bool)
    if bias is None:
        return drifting
    witness = witness_of(bias, minutes)
    blocks = block_means(witness, MINUTES_PER_BLOCK)
    look, least = look_at(witness, None, smooth=True), _LEAST_PH / _standing(bias)
    for start, end in extents_of(look, _HARDLY_CHANCE, _LEANING):
        part = blocks[start:end]
        if np.isfinite(part).any() and np.nanmean(part) - np.nanmedian(blocks) >= least:
            drifting[start * MINUTES_PER_BLOCK : end * MINUTES_PER_BLOCK] = True
    return drifting


def witness_of(bias: ProbeBias, minutes: Minutes) -> Array:
    """Bias of a probe while juice runs past it [standard errors], NaN in stops."""
    return np.where(minutes.stopped, np.nan, bias.bias / _standing(bias))


def _standing(bias: ProbeBias) -> float:
    return max(float(np.mean(bias.sd)), 1e-3)
