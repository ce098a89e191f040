"""Readings of a grid that a replay may change: found, put right, and added where none is read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from features.base import BoolArray, FloatArray, Port, Quantity, Signal, Station, Vessel
from features.flow import Derived, probe_signal
from features.kinetics import ph_at_sample

#: Ports at which a vessel's own content is read, not that of its neighbour or its mud.
CONTENT: tuple[Port, ...] = ("inside", "out", "")
MUD: tuple[Port, ...] = ("mud",)
#: Signals that stand in for what no tag reads carry this before their name.
_STAND_IN = "stand-in "


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """A grid as arrays, and the station whose signals name its columns.

    Attributes
    ----------
    times : polars.Series
        Start of each minute, UTC.
    columns : dict of str to ndarray, shape (n,)
        NaN where missing.
    station : Station
    """

    times: pl.Series
    columns: Mapping[str, FloatArray]
    station: Station

    @property
    def rows(self) -> int:
        """Number of minutes."""
        return len(self.times)

    def grid(self) -> pl.DataFrame:
        """As `features.flow.derive` takes it."""
        frame = pl.DataFrame([self.times, *(pl.Series(n, v) for n, v in self.columns.items())])
        return frame.with_columns(pl.exclude("ts_utc").fill_nan(None))

    def named(self, quantity: Quantity, place: str, ports: Iterable[Port]) -> list[str]:
        """Columns that read a quantity at a place, at one of some ports."""
        wanted = set(ports)
        found = [
            s.name
            for s in self.station.signals
            if s.quantity == quantity and s.place == place and s.port in wanted and not s.beside
        ]
        return [name for name in found if name in self.columns]

    def changed(self, columns: Mapping[str, FloatArray]) -> Readings:
        """Copy with other values in some columns."""
        return replace(self, columns={**self.columns, **columns})

    def with_stand_in(
        self, quantity: Quantity, vessel: Vessel, port: Port, values: FloatArray
    ) -> Readings:
        """Copy that reads a quantity where no tag does."""
        tag = f"{_STAND_IN}{quantity} {vessel.name} {port}"
        signal = Signal(tag, quantity, vessel.name, port, "", -np.inf, np.inf)
        station = replace(self.station, signals=(*self.station.signals, signal))
        return Readings(self.times, {**self.columns, signal.name: values}, station)


def readings_of(grid: pl.DataFrame, station: Station) -> Readings:
    """Take a grid apart.

    Parameters
    ----------
    grid : polars.DataFrame
        As `features.flow.derive` takes it.
    station : Station

    Returns
    -------
    Readings
    """
    columns = {
        name: grid[name].cast(pl.Float64).fill_null(np.nan).to_numpy()
        for name in grid.columns
        if name != "ts_utc"
    }
    return Readings(grid["ts_utc"].rename("ts_utc"), columns, station)


def put_right(readings: Readings, derived: Derived, biases: Mapping[str, FloatArray]) -> Readings:
    """PH probes as of cooled samples, and less what they are believed to be off by.

    Parameters
    ----------
    readings : Readings
    derived : Derived
        Of the same grid: tells the temperature at each probe.
    biases : mapping of str to ndarray, shape (n,)
        Reading minus truth [pH] of the ``limed`` and the ``clear`` juice.

    Returns
    -------
    Readings
        The first probe of each point is put right; others of the point by as much.
    """
    station, kinetics = readings.station, readings.station.kinetics
    degc = zone_columns(derived, "temp_degc")
    columns, signals = dict(readings.columns), []
    for signal in station.signals:
        name, point = signal.name, _point_of(station, signal)
        if signal.quantity != "ph" or name not in columns or not point:
            signals.append(signal)
            continue
        values = columns.pop(name)
        if signal.basis == "process":
            temp = degc.get(signal.place, np.full(readings.rows, kinetics.ph_ref_degc))
            cold = ph_at_sample(values, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
            values = np.asarray(cold)
        off = np.nan_to_num(biases[point]) if point in biases else 0.0
        columns[name] = values - off
        signals.append(replace(signal, basis="cold"))
    return Readings(readings.times, columns, replace(station, signals=tuple(signals)))


def _point_of(station: Station, signal: Signal) -> str:
    """Juice whose pH a signal reads, ``limed`` or ``clear``; empty for other juice."""
    kinds = {v.name: v.kind for v in station.vessels}
    kind = kinds.get(signal.place)
    if kind == "liming_tank" or (kind in ("heater", "flash_tank") and _limed(station, signal)):
        return "limed"
    if kind == "settler":
        return {"in": "limed", "mud": ""}.get(signal.port, "clear")
    return "clear" if kind == "clear_juice_tank" else ""


def _limed(station: Station, signal: Signal) -> bool:
    """Whether a heater or flash tank stands behind the liming."""
    steps = {v.name: v.step for v in station.vessels}
    tanks = [v.step for v in station.of_kind("liming_tank")]
    return not tanks or steps[signal.place] > max(tanks)


def ph_columns(readings: Readings, point: str) -> list[str]:
    """Columns that read the pH of ``limed`` or ``clear`` juice."""
    station = readings.station
    return [
        s.name
        for s in station.signals
        if s.quantity == "ph" and s.name in readings.columns and _point_of(station, s) == point
    ]


def with_probes(readings: Readings) -> Readings:
    """Readings with a pH of limed and of clear juice: the target where no tag reads it."""
    station, targets = readings.station, readings.station.targets
    full = np.full(readings.rows, 1.0)
    settlers, tanks = station.of_kind("settler"), station.of_kind("liming_tank")
    first = probe_signal(station, "limed")
    if first is None or first.name not in readings.columns:
        if tanks:
            readings = readings.with_stand_in("ph", tanks[-1], "out", targets.ph_limed * full)
        elif settlers:
            readings = readings.with_stand_in("ph", settlers[0], "in", targets.ph_limed * full)
    first = probe_signal(station, "clear")
    if (first is None or first.name not in readings.columns) and settlers:
        readings = readings.with_stand_in("ph", settlers[0], "out", targets.ph_clear * full)
    return readings


def zone_columns(derived: Derived, column: str) -> dict[str, FloatArray]:
    """One column of the zone minutes, by zone; NaN where null."""
    return {
        str(part["zone"][0]): part[column].fill_null(np.nan).to_numpy()
        for part in derived.zone_minutes.partition_by("zone", maintain_order=True)
    }


def zone_rows(derived: Derived, rows: BoolArray) -> pl.DataFrame:
    """Zone minutes of some of the minutes.

    Parameters
    ----------
    derived : Derived
    rows : ndarray of bool, shape (n,)
    """
    zones = derived.zone_minutes.height // max(rows.size, 1)
    return derived.zone_minutes.filter(pl.Series(np.tile(rows, zones)))


def station_column(derived: Derived, column: str) -> FloatArray:
    """One column of the station minutes; NaN where null."""
    return derived.station_minutes[column].cast(pl.Float64).fill_null(np.nan).to_numpy()
