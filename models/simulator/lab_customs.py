"""What is a laboratory's own: what it analyses where, how it samples, what its methods are off by.

Biases of a method between juices: lime salts, starch and colour pull reducing sugars, Brix and pol
of limed, clear and mixed juice by different amounts (common practice); how much is judgement.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.habits import LAB_PLANS, POINTS, Habits

Floats = NDArray[np.float64]

SUGARS = ("brix", "pol", "rs")
#: Cell behind each sampling point; mixed juice is the feed itself.
_CELLS: dict[str, int | None] = {
    "MJ": None,
    "LJ": c.LIMING,
    "CJ": c.CLEAR_LAST,
    "EJ": c.TANK,
    "EV": c.EVAPORATOR,
}
_LACTIC_POINTS = ("MJ", "LJ", "EJ")
#: Share of the hours of a composite that the station must run for one to be made.
_LEAST_RUNNING = 0.4


@dataclass(frozen=True, slots=True)
class Errors:
    """Standard errors of the routine methods (estimate)."""

    ph: float = 0.06
    brix: float = 0.08
    pol: float = 0.08
    rs_rel: float = 0.025
    lactic_rel: float = 0.08

    def scaled(self, scale: float) -> Errors:
        """All errors larger by one factor."""
        return Errors(*(scale * getattr(self, f.name) for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Off:
    """What results are off by: added to Brix and pol [%], times reducing sugars."""

    brix: float = 0.0
    pol: float = 0.0
    rs: float | Floats = 1.0


NOT_OFF = Off()


class Customs:
    """Habits of one laboratory over one season.

    Parameters
    ----------
    habits : Habits
    hours : float
        Length of the season [h].
    rng : numpy.random.Generator or None
        Source of chance for the batches of reagent; None where there are none.
    errors : Errors
        Standard errors of the methods.
    gap : float
        Scale of the time between samples.
    """

    def __init__(
        self,
        habits: Habits,
        hours: float,
        rng: np.random.Generator | None = None,
        errors: Errors | None = None,
        gap: float = 1.0,
    ) -> None:
        self.habits = habits
        self.errors, self.gap = errors or Errors(), gap
        ph_points, sugar_points = LAB_PLANS[habits.lab_plan]
        self._ph, self._sugars = ph_points, sugar_points
        self.points = {name: _CELLS[name] for name in POINTS if name in ph_points + sugar_points}
        self.changes_h, self.levels = np.zeros(1), np.ones(1)
        if rng is not None and habits.reagent_rel_sd > 0.0:
            # A batch lasts two thirds to four thirds of the mean life.
            count = int(hours / (16.0 * habits.reagent_days)) + 2
            lives = 24.0 * habits.reagent_days * rng.uniform(2 / 3, 4 / 3, size=count)
            first = -float(rng.uniform(0.0, lives[0]))
            self.changes_h = first + np.concatenate([[0.0], np.cumsum(lives)[:-1]])
            self.levels = np.exp(rng.normal(0.0, habits.reagent_rel_sd, size=count))

    def off(self, point: str, at_h: Floats) -> Off:
        """What results of samples taken at these hours are off by."""
        if not (any(self.habits.rs_bias) or self.habits.reagent_rel_sd):
            return NOT_OFF
        i = POINTS.index(point)
        batch = np.searchsorted(self.changes_h, at_h, side="right") - 1
        rs = (1.0 + self.habits.rs_bias[i]) * self.levels[np.maximum(batch, 0)]
        return Off(self.habits.brix_bias[i], self.habits.pol_bias[i], np.asarray(rs))

    def grabs(self, point: str) -> tuple[str, ...]:
        """What is analysed in grabs of this point."""
        out: tuple[str, ...] = ("ph",) if point in self._ph else ()
        if point in self._sugars and not self.habits.composite_h:
            out += SUGARS
        if self.habits.tells_lactic and point in _LACTIC_POINTS:
            out += ("lactic",)
        return out

    def composites(self, point: str) -> bool:
        """Whether samples of this point are gathered over hours."""
        return self.habits.composite_h > 0.0 and point in self._sugars


def gathered(contents: Floats, running: Floats, period_h: float) -> tuple[Floats, Floats]:
    """Contents of juice gathered over whole periods, in proportion to the flow.

    Parameters
    ----------
    contents : array, shape (T, 7)
        Contents at every step.
    running : array, shape (T,)
        Feed rate as a share of nominal.
    period_h : float
        Length of a period [h], above 0.

    Returns
    -------
    from_h : array, shape (n,)
        When gathering began [h]; periods in which the station mostly stood are left out.
    mixed : array, shape (7, n)
    """
    each = round(period_h / p.STEP_H)
    count = len(contents) // each
    weight = running[: count * each].reshape(count, each)
    parts = contents[: count * each].reshape(count, each, -1)
    alive = (weight > 0.1).mean(axis=1) >= _LEAST_RUNNING
    weight, parts = weight[alive], parts[alive]
    mixed = np.einsum("nt,nts->sn", weight, parts) / weight.sum(axis=1)
    return (np.flatnonzero(alive) * period_h).astype(np.float64), np.asarray(mixed)
