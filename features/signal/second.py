"""Two instruments for one thing: by how much they differ over a day, and what to make of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import TAG, Column, Columns, Quantity, Signal, polars_schema
from features.signal.health import Drift

#: What `second_day` gives.
SECOND_DAY_COLUMNS: Final[Columns] = {
    "tag": TAG,
    "beside": Column.text("The other instrument for the same."),
    "beside_diff": Column.number(
        "unit of the tag", "Its readings less those of the other, median."
    ),
    "beside_sd": Column.number("unit of the tag", "Standard error of beside_diff."),
    "beside_level": Column.number("unit of the tag", "Its readings meanwhile, median."),
}
#: Hours with both instruments that a day needs, and minutes of such an hour (estimates).
_LEAST_HOURS: Final = 4
_LEAST_MINUTES: Final = 20
#: A median scatters more than a mean of normal errors, by the root of pi/2.
_MEDIAN_SD: Final = math.sqrt(math.pi / 2.0)
#: Differences worth a look, and those that one of the two is surely wrong by (estimates; pH as in
#: `features.signal.health`), in the inside unit; of flows a share of the reading.
_LIMITS: Final[dict[Quantity, tuple[float, float]]] = {
    "ph": (0.1, 0.2),
    "temperature": (2.0, 5.0),
    "brix": (0.5, 1.5),
    "level": (5.0, 15.0),
    "mud_level": (5.0, 15.0),
}
_SHARES: Final = (0.05, 0.15)
_UNITS: Final[dict[Quantity, tuple[str, int]]] = {
    "ph": ("pH", 2), "temperature": ("degC", 1), "brix": ("Brix", 2), "level": ("%", 1),
    "mud_level": ("%", 1), "flow": ("m3/h", 1), "turbidity": ("NTU", 1),
    "conductivity": ("mS/cm", 2), "steam_pressure": ("kPa", 1), "cane_rate": ("t/h", 1),
    "imbibition_flow": ("m3/h", 1), "lime_flow": ("L/h", 0), "flocculant_flow": ("L/h", 0),
    "other": ("", 2),
}  # fmt: skip
_SURE: Final = 2.0


def second_day(grid: pl.DataFrame, signals: Sequence[Signal]) -> pl.DataFrame:
    """Set each second instrument against the one that counts, over one day.

    Parameters
    ----------
    grid : polars.DataFrame
        The minutes of the day, as `features.signal.grid.to_grid` makes them.
    signals : sequence of Signal
        Tags of the station.

    Returns
    -------
    polars.DataFrame
        Columns of `SECOND_DAY_COLUMNS`, two rows a pair, one for each side; beside_diff and
        beside_sd are null where the two were not read together for at least four hours.

    Notes
    -----
    The difference is the median over the minutes read by both. Its error follows from how the
    medians of single hours scatter (median absolute deviation): minutes next to each other know
    the same, and what disturbs one hour must not count sixty times.
    """
    rows: list[tuple[str, str, float | None, float | None, float | None]] = []
    by_tag = {s.tag: s for s in signals}
    for second in signals:
        first = by_tag.get(second.beside)
        if first is None or not {first.name, second.name} <= {*grid.columns}:
            continue
        pair = grid.select("ts_utc", first=first.name, second=second.name).drop_nulls()
        diff, sd = _difference(pair.with_columns(diff=pl.col("first") - pl.col("second")))
        levels = pair.select(pl.col("first", "second").median()).row(0)
        rows.append((first.tag, second.tag, diff, sd, levels[0]))
        rows.append((second.tag, first.tag, None if diff is None else -diff, sd, levels[1]))
    schema = polars_schema(SECOND_DAY_COLUMNS)
    return pl.DataFrame(rows, schema=schema, orient="row").sort("tag", "beside")


def _difference(pair: pl.DataFrame) -> tuple[float | None, float | None]:
    hourly = (
        pair.group_by(pl.col("ts_utc").dt.truncate("1h"))
        .agg(pl.col("diff").median(), minutes=pl.len())
        .filter(pl.col("minutes") >= _LEAST_MINUTES)
    )
    if hourly.height < _LEAST_HOURS:
        return None, None
    medians: NDArray[np.float64] = hourly["diff"].to_numpy()
    spread = 1.4826 * float(np.median(np.abs(medians - np.median(medians))))
    diff = float(np.median(pair["diff"].to_numpy()))
    return diff, _MEDIAN_SD * spread / math.sqrt(hourly.height)


def drift_beside(first: Drift, diff: float, diff_sd: float) -> Drift:
    """Error of a second instrument, from that of the first and the difference of the two.

    Parameters
    ----------
    first : Drift
        Reading of the first less the laboratory.
    diff, diff_sd : float
        Reading of the first less that of the second, and its standard error [inside unit].
    """
    return Drift(first.value - diff, math.hypot(first.sd, diff_sd))


def disagreement(
    signal: Signal,
    other: str,
    diff: float,
    sd: float,
    drifts: tuple[Drift | None, Drift | None] = (None, None),
    level: float | None = None,
) -> tuple[int, str]:
    """Grade and words where two instruments for one thing disagree.

    Parameters
    ----------
    signal : Signal
        The instrument judged.
    other : str
        Tag of the other one (untrusted text).
    diff, sd : float
        Its reading less that of the other, and the standard error [inside unit].
    drifts : tuple of Drift or None
        Errors of this one and of the other against the laboratory, where known.
    level : float, optional
        Usual reading [inside unit]; without it a quantity judged by shares is not judged.

    Returns
    -------
    grade : int
        0 nothing, 1 watch, 2 sick; 0 also where the laboratory bears this one out.
    words : str
        Empty where the two agree.
    """
    limits = _LIMITS.get(signal.quantity)
    if limits is None and level:
        limits = (_SHARES[0] * abs(level), _SHARES[1] * abs(level))
    size = abs(diff)
    if limits is None or size < limits[0] or size < _SURE * sd:
        return 0, ""
    unit, decimals = _UNITS[signal.quantity]
    rank = "first" if signal.beside else "second"
    text = (
        f"reads {size:.{decimals}f} {unit}".rstrip()
        + f" (standard error {sd:.{decimals + 1}f}) {'above' if diff > 0 else 'below'} its {rank} "
        f"instrument {other}"
    )
    here, there = drifts
    grade = 2 if size >= limits[1] else 1
    if here is None or there is None or _undecided(here, there):
        # One of two is wrong; which of them nobody has said.
        return 1, f"{text}; a laboratory sample would tell which drifts"
    if abs(here.value) < abs(there.value):
        return 0, f"{text}; the laboratory bears this one out"
    return grade, f"{text}; the laboratory bears {other} out"


def _undecided(here: Drift, there: Drift) -> bool:
    """Whether the laboratory is too unsure of the one to say which lies nearer to it."""
    return abs(abs(here.value) - abs(there.value)) < _SURE * min(here.sd, there.sd)
