"""pH inside the vessels: which probe tells it, how it falls in a settler and while juice stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from features.base import FloatArray, exp10
from features.kinetics import ph_after_acid

#: Which probes tell the pH: before liming, in the liming tank, up to the settler, in it, after.
Region = Literal["mixed", "liming", "limed", "settler", "clear", "mud"]
#: Inflow below this share of the usual leaves a settler standing [-], as for the station's stops.
_STANDING_BELOW = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """A settler while no juice flows in.

    Attributes
    ----------
    ph_read : ndarray, shape (n,)
        The outlet probe, held in a stop at what it read when juice last flowed [-].
    soured : ndarray, shape (n,)
        Fall of pH since then by acid made, as at pH 7 [-]; 0 while juice flows.
    """

    ph_read: FloatArray
    soured: FloatArray


def standing_in(
    flow_m3_h: FloatArray, usual_flow_m3_h: float, probe: FloatArray, souring_1_min: FloatArray
) -> Standing | None:
    """Find the stops of a settler.

    Parameters
    ----------
    flow_m3_h : ndarray, shape (n,)
        Juice flowing in [m3/h].
    usual_flow_m3_h : float
        Flow at target [m3/h].
    probe : ndarray, shape (n,)
        Outlet pH probe [-].
    souring_1_min : ndarray, shape (n,)
        Fall of pH by acid made, as at pH 7 [1/min].

    Returns
    -------
    Standing or None
        None without any stop.
    """
    flowing = flow_m3_h >= _STANDING_BELOW * usual_flow_m3_h
    if flowing.all():
        return None
    rows = np.arange(flow_m3_h.shape[0])
    last = np.maximum(np.maximum.accumulate(np.where(flowing, rows, -1)), 0)
    running = np.cumsum(souring_1_min)
    return Standing(probe[last], running - running[last])


def fall_left(vessel_min: float, tanks: int, fall_min: float) -> float:
    """Share of the pH fall still to come after one well-stirred tank [-].

    Parameters
    ----------
    vessel_min : float
        Usual residence in the vessel [min].
    tanks : int
        Tanks in series.
    fall_min : float
        Time constant of the fall, first order [min].
    """
    return 1.0 / (1.0 + vessel_min / max(tanks, 1) / max(fall_min, 1e-3))


def clear_weight(region: Region, cell: int, tanks: int, left: float) -> float:
    """Weight of the clear-juice probe in the pH of a cell [-].

    In the settler the pH falls from cell to cell by the factor `left`; the last cell is what the
    probe reads.
    """
    if region == "settler":
        rest = left**tanks
        return 1.0 - (left ** (cell + 1) - rest) / (1.0 - rest)
    return 1.0 if region in ("clear", "mud") else 0.0


def reference_acidity(
    region: Region,
    tanks: int,
    ph: tuple[float, float, float],
    *,
    mud_drop: float = 0.0,
    left: float = 0.0,
    soured: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Mean of 10**-pH over the cells at target pH.

    Parameters
    ----------
    region : Region
        Region of the zone.
    tanks : int
        Number of cells.
    ph : tuple of float
        Target cold pH of mixed, limed and clear juice [-].
    mud_drop : float
        Mud pH below clear pH [-].
    left : float
        Share of the settler's pH fall still to come after one cell [-].
    soured : tuple of float
        Fall by acid made up to the zone and in each cell, as at pH 7 [-].

    Returns
    -------
    float
        Mean acidity [-].
    """
    mixed, limed, clear = ph
    if region == "mud":
        return float(10.0 ** -(clear - mud_drop))
    weights = np.array([clear_weight(region, cell, tanks, left) for cell in range(tanks)])
    read = mixed if region == "mixed" else limed + weights * (clear - limed)
    if region in ("liming", "settler"):
        return float(np.mean(10.0**-read))
    return float(
        np.mean(exp10(-ph_after_acid(read, soured[0] + soured[1] * (np.arange(tanks) + 1.0))))
    )
