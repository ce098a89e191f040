"""A plant whose flow jumps, integrated in stretches and averaged over minutes."""

from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp


def solved_in_stretches(derivatives, y, stops, minutes, **how):
    """State at every minute; the flow jumps, so each stretch between is solved alone."""
    parts = [y[:, None]]
    for first, last in pairwise([0.0, *(t for stop in stops for t in stop), float(minutes)]):
        solved = solve_ivp(
            # Stay off the jump itself: the last point belongs to the flow before it.
            lambda t, y, last=last: derivatives(min(t, last - 1e-6), y),
            (first, last),
            y,
            t_eval=np.arange(first, last + 1),
            max_step=5.0,
            **how,
        )
        y = solved.y[:, -1]
        parts.append(solved.y[:, 1:])
    return np.hstack(parts)


def minute_means(function, minutes, parts):
    """Mean of each minute, from so many moments inside it."""
    inside = (np.arange(parts) + 0.5) / parts
    means = [np.mean([function(m + s) for s in inside], axis=0) for m in range(minutes)]
    return np.array(means, dtype=float)
