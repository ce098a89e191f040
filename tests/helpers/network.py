"""A whole clarification station stepped through time by mass balances, as a judge of the tool.

It shares no code and no rule with what it judges. Every cell is a mass of juice; its pH is that of
its parcels: limed pH, less a reaction of first order that starts where the juice enters the
settler, less acid made at a rate that triples per pH unit. The probes read what the cells have
become, also in a stop. Pipes are rows of parcels, one every few seconds. Masses are volume times
density at the juice's own temperature. The rate of inversion is the published one, written out
again; density is that of another correlation (Laliberte 2009 as `thermo` has it), not the tool's
polynomial.

    liming tank - heater - pipe - settler of three tanks, mud drawn from the first - clear-juice
    tank - pipe - evaporator vessel
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from thermo.electrochem import Laliberte_density

#: Steps a minute.
STEPS = 10
DT = 1.0 / STEPS
BRIX, BRIX_EVAPORATOR, PURITY = 14.5, 20.0, 84.0
#: d(pH)/dT of the juice [1/K], cold samples at 25 degC, time constant of the fall [min].
SLOPE, FALL_MIN = -0.006, 20.0
#: Fall of pH by acid at pH 7 and 97 degC [1/h]: 1 % of the reducing sugars an hour (common
#: practice), 4 per 100 sucrose, 1.4 acids each, 8 meq per kg and pH; Ea 140.2 kJ/mol of
#: Nolasco 2006.
ACID_1_H = 0.01 * (BRIX * PURITY * 4.0 / 180.156) * 1.4 / 8.0
VESSELS = ("lime", "hot", "line", "basin", "tank", "riser", "boiler")
#: Size [m3] and usual temperature [degC]; the lines between are pipes.
SIZE_M3 = {
    "lime": 63.0, "hot": 5.0, "line": 45.0, "basin": 340.0, "tank": 100.0, "riser": 25.0,
    "boiler": 17.0,
}  # fmt: skip
USUAL_DEGC = {
    "lime": 72.0, "hot": 103.0, "line": 100.0, "basin": 97.5, "tank": 95.0, "riser": 108.0,
    "boiler": 113.0,
}  # fmt: skip
#: Stirred cells: vessel and share of it.
CELLS = (
    ("lime", 1.0), ("hot", 1.0), ("basin", 1 / 3), ("basin", 1 / 3), ("basin", 1 / 3),
    ("tank", 1.0), ("boiler", 1.0),
)  # fmt: skip
LIME, FIRST, OUTLET, TANK, BOILER = 0, 2, 4, 5, 6
PH, FALLEN, AGE, LEFT = range(4)


@dataclass(frozen=True)
class Lane:
    """One day of a plant; every series has `STEPS` values a minute, shape (steps,).

    ``flow`` [m3/h as metered], ``feed_degc``, ``limed`` [pH], ``mud`` [m3/h at the settler's
    temperature], ``volume`` [m3] and ``degc`` by vessel, ``fall``: how far pH falls in the end [-].
    """

    flow: np.ndarray
    feed_degc: np.ndarray
    limed: np.ndarray
    mud: np.ndarray
    volume: dict[str, np.ndarray]
    degc: dict[str, np.ndarray]
    fall: float = 0.55


@dataclass(frozen=True)
class Course:
    """What became of a lane, minute by minute.

    ``loss_kg`` [kg inverted in the minute], ``residence_min`` of the juice leaving, by vessel;
    ``clear`` and ``ph`` (mean over the content, by vessel) [-].
    """

    loss_kg: dict[str, np.ndarray]
    residence_min: dict[str, np.ndarray]
    clear: np.ndarray
    ph: dict[str, np.ndarray]


def density_t_m3(brix: float, degc: np.ndarray) -> np.ndarray:
    """Sucrose solution, off a table of 0.5 K [t/m3]."""
    table = np.arange(15.0, 125.5, 0.5)
    known = [Laliberte_density(t + 273.15, [brix / 100.0], ["57-50-1"]) / 1000.0 for t in table]
    return np.interp(degc, table, known)


def rate_at_ph0(degc: np.ndarray, brix: float) -> np.ndarray:
    """Vukov 1965 for a cold pH of 0: k [1/min] = this times 10**-pH (constants: memory)."""
    water = density_t_m3(brix, degc) * (1.0 - brix / 100.0)
    return water * 10.0 ** (16.91 - 5670.0 / (degc + 273.15) - SLOPE * (degc - 25.0))


def acid_rate(degc: np.ndarray) -> np.ndarray:
    """Fall of pH at pH 7 [1/min]."""
    kelvin = degc + 273.15
    return ACID_1_H / 60.0 * np.exp(-140_200.0 / 8.314462618 * (1.0 / kelvin - 1.0 / 370.15))


def minute_means(series: np.ndarray) -> np.ndarray:
    """Means of the steps of each minute."""
    return series.reshape(-1, STEPS, *series.shape[1:]).mean(axis=1)


class Pipe:
    """Parcels of one lane between two cells, oldest first."""

    def __init__(self, mass, inflow, degc, start):
        self.rate, self.acid = rate_at_ph0(degc, BRIX), acid_rate(degc)
        self.inflow = inflow
        # The pipe starts full of parcels that came in at the first flow.
        first = max(round(float(mass[0] / (inflow[0] * DT))), 1)
        n = len(inflow) + first
        self.ph, self.left = np.full(n, start), np.ones(n)
        self.mass = np.concatenate((np.full(first, mass[0] / first), inflow * DT))
        edges = np.concatenate(([0.0], np.cumsum(self.mass)))
        gone = np.maximum.accumulate(edges[first + 1 :] - mass)
        # The parcel at the outlet after each step, and how much of it is still inside.
        self.at_outlet = np.minimum(np.searchsorted(edges, gone + 1e-12, side="right") - 1, n - 1)
        self.rest = edges[self.at_outlet + 1] - gone
        self.first, self.mean_ph = first, np.empty(len(inflow))
        entered = (np.arange(n + 1) - first) * DT
        middle = 0.5 * (gone + np.concatenate((edges[:1], gone[:-1])))
        self.residence = (np.arange(len(inflow)) + 0.5) * DT - np.interp(middle, edges, entered)
        self.loss = np.zeros(len(inflow))

    def step(self, i, ph_in, left_in):
        """Let a parcel in and give back pH and sucrose left of the one at the outlet."""
        new = self.first + i
        self.ph[new], self.left[new] = ph_in, left_in
        old = self.at_outlet[i]
        inside = slice(old, new + 1)
        ph = self.ph[inside]
        ph -= self.acid[i] * 3.0 ** (ph - 7.0) * DT
        weight = self.mass[inside].copy()
        weight[0] = self.rest[i]
        lost = self.rate[i] * 10.0**-ph * self.left[inside] * DT
        self.left[inside] -= lost
        self.loss[i] = float(weight @ lost)
        self.mean_ph[i] = float(weight @ ph / weight.sum()) if weight.sum() > 0.0 else ph[0]
        return self.ph[old], self.left[old]


def _masses(lane: Lane):
    """Content of every vessel [t], inflow of every cell [t/min], inflow of the pipes."""
    brix = {name: BRIX_EVAPORATOR if name == "boiler" else BRIX for name in VESSELS}
    held = {v: lane.volume[v] * density_t_m3(brix[v], lane.degc[v]) for v in VESSELS}
    growth = {v: np.gradient(held[v], DT) for v in VESSELS}
    mud = lane.mud / 60.0 * density_t_m3(BRIX, lane.degc["basin"])
    flow = lane.flow / 60.0 * density_t_m3(BRIX, lane.feed_degc)
    inflow = {}
    for vessel in VESSELS[:-1]:
        inflow[vessel] = np.maximum(flow, 0.0)
        flow = flow - growth[vessel] - (mud if vessel == "basin" else 0.0)
    third = growth["basin"] / 3.0
    after = inflow["basin"] - third - mud
    cells = [inflow["lime"], inflow["hot"], inflow["basin"], after, after - third]
    # Solids stay as water boils off: the vessel is renewed by the concentrate it makes.
    cells += [inflow["tank"], np.maximum(flow, 0.0) * BRIX / BRIX_EVAPORATOR]
    return held, np.maximum(np.array(cells), 0.0), inflow


def run(lanes: list[Lane]) -> list[Course]:
    """Step all lanes through time together (Heun's method)."""
    steps, count = len(lanes[0].flow), len(lanes)
    masses = [_masses(lane) for lane in lanes]
    of_cell = np.array([[h[v] * s for v, s in CELLS] for h, _, _ in masses])
    renewed = np.array([m[1] for m in masses]) / of_cell
    brix = [BRIX_EVAPORATOR if v == "boiler" else BRIX for v, _ in CELLS]
    rate = np.array(
        [[rate_at_ph0(a.degc[v], b) for (v, _), b in zip(CELLS, brix, strict=True)] for a in lanes]
    )
    acid = np.array([[acid_rate(a.degc[v]) for v, _ in CELLS] for a in lanes])
    # Steps first, then cells, then lanes.
    renewed, rate, acid = (x.transpose(2, 1, 0).copy() for x in (renewed, rate, acid))
    limed = np.array([lane.limed for lane in lanes]).T
    in_settler = np.zeros((len(CELLS), 1))
    in_settler[FIRST : OUTLET + 1] = 1.0 / FALL_MIN
    fall = np.array([lane.fall for lane in lanes])
    pipes = [
        [Pipe(h[v], m[v], lane.degc[v], 7.0) for v in ("line", "riser")]
        for lane, (h, _, m) in zip(lanes, masses, strict=True)
    ]
    x = np.zeros((4, len(CELLS), count))
    x[PH], x[LEFT], x[AGE] = 7.0, 1.0, 20.0
    x[FALLEN, FIRST : OUTLET + 1] = 0.5 * fall
    piped = np.array([[7.0, 1.0, 7.0, 1.0]] * count).T
    kept = np.empty((steps, 3, len(CELLS), count))

    def change(x, i):
        came = np.empty_like(x)
        came[:, 1:] = x[:, :-1]
        came[AGE, (0, 1, 2, 5, 6)] = 0.0
        came[FALLEN, FIRST] = 0.0
        came[LEFT, 0] = 1.0
        came[PH, 0], came[FALLEN, 0] = limed[i], 0.0
        came[PH, FIRST], came[LEFT, FIRST] = piped[0], piped[1]
        came[PH, BOILER], came[LEFT, BOILER] = piped[2], piped[3]
        out = renewed[i] * (came - x)
        falling = in_settler * (fall - x[FALLEN])
        out[PH] -= falling + acid[i] * 3.0 ** (x[PH] - 7.0)
        out[FALLEN] += falling
        out[AGE] += 1.0
        out[LEFT] -= rate[i] * 10.0 ** -x[PH] * x[LEFT]
        return out

    for i in range(steps):
        x[PH, LIME] = limed[i]
        begin = x
        slope = change(x, i)
        x = x + 0.5 * DT * (slope + change(x + DT * slope, i))
        x[PH, LIME] = limed[i]
        middle = 0.5 * (begin + x)
        kept[i, 0] = rate[i] * 10.0 ** -middle[PH] * middle[LEFT] * DT
        kept[i, 1], kept[i, 2] = middle[AGE], middle[PH]
        for lane, (line, riser) in enumerate(pipes):
            piped[:2, lane] = line.step(i, middle[PH, 1, lane], middle[LEFT, 1, lane])
            piped[2:, lane] = riser.step(i, middle[PH, TANK, lane], middle[LEFT, TANK, lane])
    return [_course(kept[..., k], of_cell[k], pipes[k]) for k in range(count)]


def _course(kept, of_cell, pipes) -> Course:
    """Columns of one lane from what was kept of it, shape (steps, 3, cells)."""
    sucrose_kg = 10.0 * np.array([BRIX_EVAPORATOR if v == "boiler" else BRIX for v, _ in CELLS])
    lost = kept[:, 0] * of_cell.T * sucrose_kg * PURITY / 100.0
    loss, residence, ph = {}, {}, {}
    for vessel in VESSELS:
        cells = [k for k, (v, _) in enumerate(CELLS) if v == vessel]
        if cells:
            loss[vessel] = STEPS * minute_means(lost[:, cells].sum(axis=1))
            residence[vessel] = minute_means(kept[:, 1, cells[-1]])
            ph[vessel] = minute_means(kept[:, 2, cells].mean(axis=1))
        else:
            pipe = pipes[("line", "riser").index(vessel)]
            loss[vessel] = STEPS * minute_means(pipe.loss) * 10.0 * BRIX * PURITY / 100.0
            residence[vessel] = minute_means(pipe.residence)
            ph[vessel] = minute_means(pipe.mean_ph)
    return Course(loss, residence, minute_means(kept[:, 2, OUTLET]), ph)
