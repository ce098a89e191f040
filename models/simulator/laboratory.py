"""What the laboratory finds: sampling times, analytical errors, results as text."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.chemistry import brix_of_solids, juice_density_kg_m3
from models.simulator.events import PlannedEvent
from models.simulator.lab_customs import NOT_OFF, SUGARS, Customs, Errors, Off, gathered

Floats = NDArray[np.float64]

#: Share of sucrose-equivalent rotation that invert takes from pol (memory: 1 g invert -0.3).
_POL_PER_RS = -0.3


def _sample_hours(rng: np.random.Generator, hours: float, gap: float) -> Floats:
    """Sampling times of one point: every 2 to 4 h, on full five minutes."""
    gaps = rng.choice([2.0, 3.0, 4.0], size=int(hours / 2) + 2, p=[0.5, 0.3, 0.2])
    at = np.cumsum(gap * gaps) - rng.uniform(0.0, 1.5) + rng.normal(0.0, 0.12, size=gaps.size)
    at = np.round(at[(at > 0.0) & (at < hours - 0.1)] * 12.0) / 12.0
    return np.asarray(at[rng.random(at.size) > 0.04])


def _analyse(
    rng: np.random.Generator, contents: Floats, ph: Floats, errors: Errors, off: Off = NOT_OFF
) -> dict[str, list[str]]:
    """Results as text for samples with `contents` (7, n) and cold `ph` (n,)."""
    count = ph.size
    solids = contents[c.SUCROSE] + contents[c.RS] + contents[c.OTHER]
    brix = brix_of_solids(solids)
    density = juice_density_kg_m3(brix)
    sucrose, rs = 100.0 * contents[c.SUCROSE] / density, 100.0 * contents[c.RS] / density
    pol = sucrose + _POL_PER_RS * rs
    lactic = 1e6 * contents[c.LACTIC] / density
    brix, pol, rs = brix + off.brix, pol + off.pol, rs * off.rs

    def noisy(value: Floats, sd: float | Floats, decimals: int) -> list[str]:
        return [f"{v:.{decimals}f}" for v in value + rng.normal(0.0, sd, size=count)]

    return {
        "ph": noisy(ph, errors.ph, 2),
        "brix": noisy(brix, errors.brix, 2),
        "pol": noisy(pol, errors.pol, 2),
        "rs": noisy(rs, errors.rs_rel * rs, 3),
        "lactic": noisy(lactic, errors.lactic_rel * lactic, 0),
    }


def _spoil(rng: np.random.Generator, results: dict[str, list[str]]) -> None:
    """Turn a few results into what a tired analyst types instead."""
    for analyte, texts in results.items():
        for i in range(len(texts)):
            chance = rng.random()
            if chance < 0.006:
                texts[i] = "n.d."
            elif chance < 0.008 and analyte in ("rs", "lactic"):
                texts[i] = "<0.05" if analyte == "rs" else "<50"
            elif chance < 0.010:
                texts[i] = ""


def _lab_bias(hours: Floats, events: tuple[PlannedEvent, ...]) -> Floats:
    bias = np.zeros_like(hours)
    for event in events:
        if event.cause == "lab_bias":
            bias += event.size * ((hours >= event.start_h) & (hours < event.end_h))
    return bias


def lab_results(
    rng: np.random.Generator,
    feed: Floats,
    contents: Floats,
    ph: Floats,
    running: Floats,
    events: tuple[PlannedEvent, ...],
    customs: Customs,
) -> pl.DataFrame:
    """Sample and analyse a season.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    feed : array, shape (T, 7)
        Contents of mixed juice.
    contents : array, shape (T, 7, 14)
        Contents of every cell.
    ph : array, shape (T, 15)
        Cold pH of every cell and, last, of mixed juice.
    running : array, shape (T,)
        Feed rate as a share of nominal; nobody samples a standing station.
    events : tuple of PlannedEvent
        Events of the season.
    customs : Customs
        What this laboratory analyses, how often and how well.

    Returns
    -------
    polars.DataFrame
        hour, point_analyte, result (text).
    """
    frames = []
    for point, cell in customs.points.items():
        at_h = _sample_hours(rng, len(feed) * p.STEP_H, customs.gap)
        index = (at_h / p.STEP_H).astype(np.int64)
        alive = running[index] > 0.1
        at_h, index = at_h[alive], index[alive]
        found = feed[index].T if cell is None else contents[index, :, cell].T
        true_ph = ph[index, -1 if cell is None else cell] + _lab_bias(at_h, events)
        results = _analyse(rng, found, true_ph, customs.errors, customs.off(point, at_h))
        _spoil(rng, results)
        frames += [_series(point, a, at_h, results[a]) for a in customs.grabs(point)]
        if customs.composites(point):
            flow = feed if cell is None else contents[:, :, cell]
            from_h, mixed = gathered(flow, running, customs.habits.composite_h)
            no_ph, off = np.full(from_h.size, np.nan), customs.off(point, from_h)
            results = _analyse(rng, mixed, no_ph, customs.errors, off)
            _spoil(rng, results)
            frames += [_series(point, a, from_h, results[a]) for a in SUGARS]
    return pl.concat(frames).select("hour", "point_analyte", "result").sort("hour", "point_analyte")


def _series(point: str, analyte: str, at_h: Floats, texts: list[str]) -> pl.DataFrame:
    frame = pl.DataFrame({"hour": at_h, "result": texts}).filter(pl.Series(_wanted(analyte, at_h)))
    return frame.with_columns(pl.lit(f"LAB {point} {analyte}").alias("point_analyte"))


def _wanted(analyte: str, at_h: Floats) -> NDArray[np.bool_]:
    if analyte != "lactic":
        return np.ones(at_h.size, dtype=bool)
    # One lactic acid result in each block of six hours.
    blocks = np.floor(at_h / 6.0)
    return np.diff(blocks, prepend=-1.0) > 0


def in_local_time(results: pl.DataFrame, start_utc: datetime, zone: str) -> pl.DataFrame:
    """Give lab results their local wall-clock time as text (ambiguous once a year, as in life)."""
    offset = (pl.col("hour") * 3600.0).round(0).cast(pl.Int64) * 1_000_000
    stamp = (pl.lit(start_utc) + offset.cast(pl.Duration("us"))).dt.convert_time_zone(zone)
    text = stamp.dt.strftime("%Y-%m-%d %H:%M").alias("sampled")
    return results.with_columns(text).select("sampled", "point_analyte", "result")
