"""Lanes of the chart: one signal each, with its laboratory results, on the juice's own time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Signal, grabs
from features.flow import probe_signal
from models.account import (
    CARRIED,
    Way,
    delay_min,
)
from models.base import Array
from pipeline.dossier.gather import Material
from pipeline.dossier.words import signal_words
from pipeline.words import QUANTITIES, clean, said, unit_words

#: Half of a 90 % interval in standard errors.
Z90 = 1.645
LOSS_KEY = "loss"


@dataclass(frozen=True)
class Line:
    """One line of a lane by minute; NaN where missing. ``delay_min`` where not its lane's."""

    name: str
    values: Array
    style: str = "read"
    delay_min: Array | None = None


@dataclass(frozen=True)
class Grab:
    """A laboratory result: row of its moment, value and half of its 90 % interval."""

    row: int
    value: float
    half: float


@dataclass(frozen=True)
class Raw:
    """Readings of one tag as exported.

    Attributes
    ----------
    at_min : ndarray, shape (n,)
        Time from the first minute drawn [min].
    values : ndarray, shape (n,)
    unused : ndarray of bool, shape (n,)
        True where a reading was not used.
    left_out : int
        Readings not given; of every stretch the lowest and the highest are.
    """

    at_min: Array
    values: Array
    unused: np.ndarray
    left_out: int


@dataclass(frozen=True)
class Lane:
    """One signal of the chart.

    Attributes
    ----------
    key : str
        Unique name made of letters, digits and hyphens.
    tag : str
        Tag as exported, made printable; empty for what lostpol worked out.
    what, unit : str
        What it is and where, and its unit.
    decimals : int
    lines, grabs : tuple of Line, of Grab
    delay_min : ndarray, shape (n,)
        Travel time it is moved back by, by minute of the clock [min].
    carried : bool
        Whether the juice carries it; what pumps move at once stays on the clock.
    target : float or None
    shown : bool
        Whether it is shown at first.
    signal : Signal or None
    raw : Raw or None
        Readings as exported, where they are shown.
    """

    key: str
    tag: str
    what: str
    unit: str
    decimals: int
    lines: tuple[Line, ...]
    grabs: tuple[Grab, ...]
    delay_min: Array
    carried: bool
    target: float | None
    shown: bool = False
    signal: Signal | None = None
    raw: Raw | None = None

    @property
    def name(self) -> str:
        """Tag and meaning in one line."""
        return said("{tag} ({what})", tag=self.tag, what=self.what) if self.tag else self.what

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return not self.grabs and not any(np.isfinite(line.values).any() for line in self.lines)


def vessel_kinds(material: Material) -> dict[str, str]:
    """Kind of each vessel by name."""
    return {v.name: str(v.kind) for v in material.station.vessels}


def by_the_clock(material: Material) -> bool:
    """Whether the finding is shown by the clock at first: a stop acts everywhere at once."""
    return str(material.finding["cause"]) in ("standing_juice", "slow_throughput")


def column_of(frame: pl.DataFrame, name: str) -> Array:
    """A column of minutes; NaN where it is missing or has no finite value."""
    if name not in frame.columns:
        return np.full(frame.height, np.nan)
    values = frame[name].cast(pl.Float64, strict=False).fill_null(float("nan")).to_numpy()
    return np.where(np.isfinite(values), values, np.nan)


def loss_lane(material: Material, n: int) -> Lane:
    """The loss of the whole station, beside the unavoidable."""
    return Lane(
        key=LOSS_KEY,
        tag="",
        what=said("sucrose lost by inversion, whole station"),
        unit="kg/h",
        decimals=0,
        lines=(
            Line("lost", column_of(material.losses, "loss_kg_h"), "strong"),
            Line("unavoidable", column_of(material.losses, "unavoidable_kg_h"), "reference"),
        ),
        grabs=(),
        delay_min=np.zeros(n),
        carried=False,
        target=None,
    )


def in_flow_order(material: Material) -> list[Signal]:
    """Signals in the order in which the juice meets them."""
    steps = {v.name: v.step for v in material.station.vessels}
    ports = {"in": 0, "": 1, "inside": 2, "mud": 3, "out": 4}
    before = {"mill": -3, "filtrate": -2, "mixed_juice": -1}
    return sorted(
        material.station.signals,
        key=lambda s: (steps.get(s.place, before.get(s.place, 99)), ports[s.port], s.quantity),
    )


def signal_lane(
    material: Material, signal: Signal, number: int, known: Mapping[tuple[str, str], Way]
) -> Lane:
    """The lane of one tag, with what the laboratory says at its place."""
    _, unit, decimals = QUANTITIES[signal.quantity]
    as_read = Line(said("as read"), column_of(material.grid, signal.name))
    return Lane(
        key=f"tag-{number}",
        tag=clean(signal.tag, 80),
        what=signal_words(signal, vessel_kinds(material)),
        unit=unit_words(unit),
        decimals=decimals,
        lines=(as_read, *_corrected(material, signal)),
        grabs=grabs_at(material, signal.quantity, signal.place, signal.port),
        delay_min=delay_min(signal, known, material.grid.height),
        carried=signal.quantity in CARRIED,
        target=_target(material, signal),
        signal=signal,
    )


def _corrected(material: Material, signal: Signal) -> tuple[Line, ...]:
    """The pH that the search took for true, on the lane of the probe it corrects."""
    for point in ("limed", "clear"):
        if probe_signal(material.station, point) == signal:
            true = column_of(material.losses, f"ph_{point}_true")
            if np.isfinite(true).any():
                return (Line(said("corrected by the laboratory"), true, "corrected"),)
    return ()


def _target(material: Material, signal: Signal) -> float | None:
    targets = material.station.targets
    for point, value in (("limed", targets.ph_limed), ("clear", targets.ph_clear)):
        if probe_signal(material.station, point) == signal:
            return value
    if signal.quantity == "flow" and signal.place == "mixed_juice":
        return targets.flow_feed_m3_h
    for vessel in material.station.vessels:
        if vessel.name == signal.place and signal.port in ("inside", "out", ""):
            if signal.quantity == "temperature":
                return vessel.temp_degc
            if signal.quantity == "level":
                return vessel.level_pct
    return None


def grabs_at(material: Material, analyte: str, place: str, port: str) -> tuple[Grab, ...]:
    """Grabs of one point; those at a vessel's outlet also speak for its inside.

    A composite has no place on a lane: it is of no moment. The table of results names it.
    """
    kept = (
        grabs(material.lab)
        .filter(
            (pl.col("analyte") == analyte)
            & (pl.col("place") == place)
            & ((pl.col("port") == port) | (pl.col("port") == "") | (port == ""))
        )
        .drop_nulls("value")
    )
    return tuple(
        Grab(material.index_of(row["ts_utc"]), row["value"], Z90 * (row["sd"] or 0.0))
        for row in kept.to_dicts()
    )
