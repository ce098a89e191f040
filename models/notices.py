"""Odd, but no loss: what a tired reader might take for one, named for what it is."""

from __future__ import annotations

import numpy as np
import polars as pl

from features.station import Station
from models.changepoint import segments
from models.lab import LabPoints, lab_series
from models.minutes import MINUTES_PER_BLOCK, Minutes
from models.series import Array, block_means, bridge_runs, running_median, runs_of

NOTICE_SCHEMA = pl.Schema(
    {
        "started": pl.Datetime("us", "UTC"),
        "ended": pl.Datetime("us", "UTC"),
        "kind": pl.String(),
        "text": pl.String(),
    }
)
_SHORTEST_MIN = 120


def find_notices(
    minutes: Minutes, lab: pl.DataFrame, points: LabPoints, lab_shift: Array, station: Station
) -> pl.DataFrame:
    """Stale cane, imbibition, over-liming, turbidity peaks, laboratory shifts.

    Returns
    -------
    DataFrame
        Columns of ``NOTICE_SCHEMA`` in order of time.
    """
    rows: list[dict[str, object]] = []
    s = minutes.station
    rs = lab_series(lab, minutes, "rs", points.mixed)
    pol = lab_series(lab, minutes, "pol", points.mixed)
    ratio = 100.0 * rs.at(minutes.hours) / pol.at(minutes.hours)
    rows += _shifts(
        minutes,
        ratio,
        1.0,
        "stale_cane",
        "Reducing sugars per pol already high in mixed juice (by {:.1f} % of pol): lost before the "
        "station, not in it.",
    )
    rows += _shifts(
        minutes,
        s["imbibition_m3_h"],
        8.0,
        "imbibition_change",
        "Imbibition water up by {:.0f} m3/h: thinner juice and more of it, no extra inversion.",
    )
    over = s["ph_limed"] - station.targets.ph_limed
    rows += _above(
        minutes,
        over,
        0.25,
        "over_liming",
        "Limed juice pH {:.2f} above target: reducing sugars and colour suffer, sucrose does not.",
    )
    turbidity = s["turbidity_clear"]
    usual = float(np.nanmedian(turbidity)) if np.isfinite(turbidity).any() else float("nan")
    rows += _above(
        minutes,
        turbidity / usual if usual > 0 else turbidity,
        2.0,
        "cloudy_clear_juice",
        "Clear juice {:.1f} times as turbid as usual: look at flocculant and feed; no inversion.",
    )
    rows += _above(
        minutes,
        np.abs(lab_shift),
        0.1,
        "lab_ph_shift",
        "Laboratory pH differs from all probes at once by {:.2f}: check the laboratory's meter.",
    )
    return pl.DataFrame(rows, schema=NOTICE_SCHEMA).sort("started", "kind")


def _shifts(
    minutes: Minutes, values: Array, least: float, kind: str, text: str
) -> list[dict[str, object]]:
    """Stretches whose mean lies at least `least` above the slow baseline."""
    blocks = block_means(values, MINUTES_PER_BLOCK)
    half = 7 * 24 * 60 // MINUTES_PER_BLOCK
    slow = running_median(blocks, np.ones(len(blocks), dtype=bool), half, half // 7)
    parts = [p for p in segments(blocks - slow, 4.0, 4) if p.mean >= least and p.z >= 4.0]
    runs = [(p.start * MINUTES_PER_BLOCK, p.end * MINUTES_PER_BLOCK) for p in parts]
    return [
        _notice(minutes, values - _stretch(slow, minutes.n), r, kind, text)
        for r in bridge_runs(runs, 60)
    ]


def _stretch(blocks: Array, n: int) -> Array:
    return np.repeat(blocks, MINUTES_PER_BLOCK)[:n]


def _above(
    minutes: Minutes, values: Array, limit: float, kind: str, text: str
) -> list[dict[str, object]]:
    """Stretches of at least two hours above a limit."""
    blocks = block_means(values, MINUTES_PER_BLOCK)
    high = np.nan_to_num(_stretch(blocks, minutes.n), nan=-np.inf) > limit
    runs = bridge_runs([(a, b) for a, b in runs_of(high) if b - a >= 45], 60)
    long = [(a, b) for a, b in runs if b - a >= _SHORTEST_MIN]
    return [_notice(minutes, values, r, kind, text) for r in long]


def _notice(
    minutes: Minutes, values: Array, run: tuple[int, int], kind: str, text: str
) -> dict[str, object]:
    start, end = run[0], min(run[1], minutes.n)
    part = values[start:end]
    size = float(np.nanmean(part)) if np.isfinite(part).any() else 0.0
    return {
        "started": minutes.at(start),
        "ended": minutes.at(end),
        "kind": kind,
        "text": text.format(size),
    }
