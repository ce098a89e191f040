"""Odd, but no loss: what a tired reader might take for one, named for what it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Column, Columns, Station, polars_schema
from models.amount import LabPoints, lab_series
from models.base import (
    MINUTES_PER_BLOCK,
    Array,
    Minutes,
    block_means,
    bridge_runs,
    running_median,
    runs_of,
)
from models.cause.settler_notices import (
    FLASH_MARGIN_K,
    LEAST_DOSE,
    MOST_DOSE,
    flash_seen,
    flash_text,
    flocculant_dose,
    short_ways,
)
from models.cause.untold_words import UNTOLD_WHY, place_of
from models.detect import MUD_SUFFIX, stop_runs, untold

NOTICE_COLUMNS: Columns = {
    "started": Column.moment("First minute."),
    "ended": Column.moment("End (excluded)."),
    "kind": Column.text("What kind of thing."),
    "text": Column.text("In words."),
}
_SHORTEST_STOP_MIN = 90
_STOP_TEXT = {
    "handled_stop": "Stop of {hours:.1f} h that lost little, about {tonnes:.2f} t more than "
    "running: the vessels were emptied, or what stayed in them was cool.",
    "untold_stop": "Stop of {hours:.1f} h whose loss is not known. What can be told lost about "
    "{tonnes:.2f} t more than running. Ask the shift what stood in the vessels.",
}


@dataclass(frozen=True)
class Watch:
    """One thing to look out for.

    Attributes
    ----------
    kind, text : str
        Name, and the sentence with a place for the mean size.
    values : ndarray, shape (n,)
        Departure from the usual [unit of the text].
    limit : float
        Departure worth a notice.
    shortest_min : int
        Shortest period worth a notice [min].
    shown : ndarray, shape (n,), optional
        What the sentence tells the mean of, where that is not the departure.
    """

    kind: str
    text: str
    values: Array
    limit: float
    shortest_min: int = 120
    shown: Array | None = None


def find_notices(
    minutes: Minutes,
    lab: pl.DataFrame,
    points: LabPoints,
    lab_shift: Array,
    station: Station,
    claimed: list[tuple[int, int]],
    excess_kg_h: Array,
) -> pl.DataFrame:
    """Stale cane, imbibition, over-liming, turbidity peaks, laboratory shifts, handled stops.

    Parameters
    ----------
    minutes : Minutes
    lab : DataFrame
    points : LabPoints
    lab_shift : ndarray, shape (n,)
        Laboratory pH minus truth [pH].
    station : Station
    claimed : list of (start, end)
        Minutes of the findings; a long stop outside them was handled well.
    excess_kg_h : ndarray, shape (n,)
        Loss of the train above what the same juice loses running [kg/h].

    Returns
    -------
    DataFrame
        Columns of ``NOTICE_COLUMNS`` in order of time.
    """
    rows: list[dict[str, object]] = []
    for watch in _watches(minutes, lab, points, lab_shift, station):
        rows += [_notice(minutes, watch, run) for run in _periods(minutes, watch)]
    rows += short_ways(minutes, station)
    rows += _handled_stops(minutes, station, claimed, excess_kg_h)
    return pl.DataFrame(rows, schema=polars_schema(NOTICE_COLUMNS)).sort("started", "kind")


def _watches(
    minutes: Minutes, lab: pl.DataFrame, points: LabPoints, lab_shift: Array, station: Station
) -> list[Watch]:
    s = minutes.station
    turbidity = s["turbidity_clear"]
    return [
        Watch(
            "stale_cane",
            "Reducing sugars already high in mixed juice, by {:.1f} % of pol: that sucrose was "
            "lost before the station, not in it.",
            _over_usual(_arriving_rs(minutes, lab, points)),
            0.8,
            180,
        ),
        Watch(
            "imbibition_change",
            "Imbibition water up by {:.0f} m³/h: thinner juice and more of it, no extra inversion.",
            _over_usual(s["imbibition_m3_h"]),
            8.0,
            180,
        ),
        Watch(
            "over_liming",
            "Limed juice {:.2f} pH above target: reducing sugars and colour suffer, sucrose "
            "does not.",
            s["ph_limed"] - station.targets.ph_limed,
            0.25,
        ),
        Watch(
            "cloudy_clear_juice",
            "Clear juice {:.1f} times as turbid as usual: look at flocculant and feed. Turbid "
            "juice is not inverted juice.",
            turbidity / max(float(np.nanmedian(turbidity)), 1e-9)
            if _seen(turbidity)
            else turbidity,
            2.0,
        ),
        Watch(
            "lab_ph_shift",
            "Laboratory pH differs from all probes at once by {:.2f}: check the laboratory's "
            "meter before the probes.",
            np.abs(lab_shift),
            0.1,
            360,
        ),
        *_settler_watches(minutes, station),
    ]


def _settler_watches(minutes: Minutes, station: Station) -> list[Watch]:
    """Juice too cool to flash, and a dose of flocculant out of what is usual."""
    found = []
    flash = flash_seen(minutes, station)
    if flash is not None:
        found.append(Watch("no_flash", flash_text(flash), flash.below_k, FLASH_MARGIN_K))
    dose = flocculant_dose(minutes, station)
    if dose is not None:
        text = "Flocculant {:.1f} mg/kg juice; 3 to 4 is usual, in modern use from 2. "
        little = text + "Flocs stay small and settle late: check strength, pump and suction."
        much = text + "More than flocs can take up costs money and fouls filters and tubes."
        found.append(Watch("little_flocculant", little, LEAST_DOSE - dose, 0.0, 240, dose))
        found.append(Watch("much_flocculant", much, dose - MOST_DOSE, 0.0, 240, dose))
    return found


def _seen(values: Array) -> bool:
    return bool(np.isfinite(values).any())


def _arriving_rs(minutes: Minutes, lab: pl.DataFrame, points: LabPoints) -> Array:
    """Reducing sugars per pol of mixed juice [%], mean of three neighbouring samples."""
    rs = lab_series(lab, minutes, "rs", points.mixed)
    pol = lab_series(lab, minutes, "pol", points.mixed)
    ratio = 100.0 * rs.values / pol.at(rs.times_h)
    ratio = ratio[np.isfinite(ratio)]
    times = rs.times_h[np.isfinite(pol.at(rs.times_h))]
    if len(ratio) < 5:
        return np.full(minutes.n, np.nan)
    smooth = np.convolve(np.pad(ratio, 1, mode="edge"), np.ones(3) / 3.0, mode="valid")
    return np.asarray(np.interp(minutes.hours, times, smooth))


def _over_usual(values: Array) -> Array:
    """Departure from the median of the week around."""
    if not _seen(values):
        return values
    blocks = block_means(values, MINUTES_PER_BLOCK)
    half = 7 * 24 * 60 // MINUTES_PER_BLOCK
    slow = running_median(blocks, np.ones(len(blocks), dtype=bool), half, half // 7)
    return values - _to_minutes(slow, len(values))


def _to_minutes(blocks: Array, n: int) -> Array:
    return np.repeat(blocks, MINUTES_PER_BLOCK)[:n]


def _periods(minutes: Minutes, watch: Watch) -> list[tuple[int, int]]:
    """Periods above the limit, pauses of up to an hour bridged."""
    blocks = block_means(watch.values, MINUTES_PER_BLOCK)
    high = np.nan_to_num(_to_minutes(blocks, minutes.n), nan=-np.inf) > watch.limit
    runs = bridge_runs([(a, b) for a, b in runs_of(high) if b - a >= 45], 60)
    return [(a, b) for a, b in runs if b - a >= watch.shortest_min]


def _handled_stops(
    minutes: Minutes, station: Station, claimed: list[tuple[int, int]], excess_kg_h: Array
) -> list[dict[str, object]]:
    """Long stops that are no finding: handled well, or nothing tells of what stood in them."""
    rows: list[dict[str, object]] = []
    settlers = {v.name for v in station.of_kind("settler")}
    for start, end in stop_runs(minutes):
        if end - start < _SHORTEST_STOP_MIN or any(a < end and b > start for a, b in claimed):
            continue
        lost_t = max(float(np.nansum(excess_kg_h[start:end])) / 60_000.0, 0.0)
        left_out = untold(minutes, station, start, end)
        unseen = any(p.zone.removesuffix(MUD_SUFFIX) in settlers for p in left_out)
        kind = "untold_stop" if unseen else "handled_stop"
        text = _STOP_TEXT[kind].format(hours=(end - start) / 60, tonnes=lost_t)
        for why in dict.fromkeys(p.why for p in left_out):
            places = ", ".join(place_of(p.zone) for p in left_out if p.why == why)
            text += f" Not counted: {places}, {UNTOLD_WHY[why]}."
        row = {"started": minutes.at(start), "ended": minutes.at(end), "kind": kind}
        rows.append({**row, "text": text})
    return rows


def _notice(minutes: Minutes, watch: Watch, run: tuple[int, int]) -> dict[str, object]:
    start, end = run
    part = (watch.values if watch.shown is None else watch.shown)[start:end]
    size = float(np.nanmean(part)) if _seen(part) else 0.0
    return {
        "started": minutes.at(start),
        "ended": minutes.at(end),
        "kind": watch.kind,
        "text": watch.text.format(size),
    }
