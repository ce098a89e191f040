"""How near to its limit a settler runs, what it could take besides, and with one vessel out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from features.flow import overflow_velocity_m_h, settling_utilisation

#: Initial settling rate of a batch test, slow and fast of what is usual [m/h] (as
#: `features.flow.settling_utilisation` has it).
USUAL_RATE_M_H = (8.0, 12.0)


@dataclass(frozen=True, slots=True)
class SettlerLoad:
    """A settler, or several side by side, at a flow; low and high by what is not known of the rate.

    Attributes
    ----------
    load_m_h : float
        Flow by area [m3/h per m2].
    used : tuple of float
        Share of the design rule in use [-], low and high.
    spare_m3_h : tuple of float
        Flow that could be taken besides [m3/h], low and high; below 0 where it is over its rule.
    one_out : tuple of float or None
        Share in use with the largest vessel out and the others taking its juice; None where there
        is but one.
    """

    load_m_h: float
    used: tuple[float, float]
    spare_m3_h: tuple[float, float]
    one_out: tuple[float, float] | None


def settler_load(
    flow_m3_h: float,
    areas_m2: Sequence[float],
    juice: tuple[float, float] = (1.0, 1.0),
    rate_m_h: float | None = None,
) -> SettlerLoad:
    """Weigh a flow of clear juice against the area that settles it.

    Parameters
    ----------
    flow_m3_h : float
        Clear juice of all vessels together [m3/h], not below 0.
    areas_m2 : sequence of float
        Settling area of each vessel [m2], above 0. Depth does not count (common practice).
    juice : tuple of float
        How fast this juice settles against that of the rate [-], least and most.
    rate_m_h : float, optional
        Initial settling rate of a batch test [m/h]; 8 to 12 where it is not known.

    Returns
    -------
    SettlerLoad

    Raises
    ------
    ValueError
        If there is no area, or one is not above 0.
    """
    if not areas_m2 or min(areas_m2) <= 0.0:
        raise ValueError(f"settler_load: areas {list(areas_m2)}; give each vessel's area in m2")
    slow, fast = USUAL_RATE_M_H if rate_m_h is None else (rate_m_h, rate_m_h)
    rates = (slow * juice[0], fast * juice[1])
    area = float(sum(areas_m2))
    rest = area - max(areas_m2)

    def used(square_m: float) -> tuple[float, float]:
        load = overflow_velocity_m_h(flow_m3_h, square_m)
        low, high = (float(settling_utilisation(load, rate)) for rate in rates[::-1])
        return low, high

    spare = tuple(0.5 * rate * area - flow_m3_h for rate in rates)
    return SettlerLoad(
        float(overflow_velocity_m_h(flow_m3_h, area)),
        used(area),
        (spare[0], spare[1]),
        used(rest) if len(areas_m2) > 1 else None,
    )
