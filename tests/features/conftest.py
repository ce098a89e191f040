"""Brindlewater, an invented mill, and synthetic grids for it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base.station import LabSource, Signal, Station, Targets, Vessel

NOMINALS: dict[str, float] = {}


def _signal(tag, quantity, place, port, unit, nominal, *rest):
    signal = Signal(tag, quantity, place, port, unit, *rest)
    NOMINALS[signal.name] = nominal
    return signal


def brindlewater_signals() -> tuple[Signal, ...]:
    s = _signal
    return (
        s("MJ.FI101", "flow", "mixed_juice", "", "m3/h", 265, -5, 500, "linear", 10),
        s("MJ.TI102", "temperature", "mixed_juice", "", "degC", 35, 5, 80),
        s("MJ.AI103", "brix", "mixed_juice", "", "%", 14.5, 5, 30, "linear", 60),
        s("MJ.AI104", "ph", "mixed_juice", "", "pH", 5.2, 3, 9),
        s("ML.WI001", "cane_rate", "mill", "", "t/h", 250, -5, 500),
        s("ML.FI002", "imbibition_flow", "mill", "", "m3/h", 75, -5, 200),
        s("PH.TI201", "temperature", "primary_heater", "out", "degC", 72, 10, 130),
        s("LT.FI211", "lime_flow", "liming_tank", "in", "L/h", 2600, -50, 9000, "step", 10),
        s("LT.AI212", "ph", "liming_tank", "out", "pH", 7.5, 3, 12, "linear", 10),
        s("LT.LI213", "level", "liming_tank", "", "%", 70, -2, 110),
        s("LT.TI214", "temperature", "liming_tank", "inside", "degC", 72, 10, 130),
        s("SH.TI221", "temperature", "secondary_heater", "out", "degC", 103, 10, 130, "linear", 10),
        s("SH.PI222", "steam_pressure", "secondary_heater", "", "kPa", 165, 0, 500),
        s("FT.TI231", "temperature", "flash_tank", "out", "degC", 100.3, 10, 130),
        s("ST.FI301", "flow", "settler", "in", "m3/h", 268, -5, 500, "linear", 10),
        s("ST.FI302", "flocculant_flow", "settler", "in", "L/h", 900, -10, 5000, "step", 30),
        s("ST.LI303", "level", "settler", "", "%", 100, -2, 110, "linear", 60),
        s("ST.TI304", "temperature", "settler", "inside", "degC", 97.5, 10, 130),
        s("ST.LI305", "mud_level", "settler", "mud", "%", 45, -2, 110, "linear", 60),
        s("ST.FI306", "flow", "settler", "mud", "m3/h", 25, -2, 100),
        s("ST.TI307", "temperature", "settler", "mud", "degC", 96, 10, 130, "linear", 60),
        s("ST.AI308", "ph", "settler", "out", "pH", 6.95, 3, 12, "linear", 10),
        s("ST.AI309", "turbidity", "settler", "out", "NTU", 25, 0, 2000),
        s("ST.AI310", "conductivity", "settler", "out", "mS/cm", 4.2, 0, 20, "linear", 60),
        s("CT.LI401", "level", "clear_juice_tank", "", "%", 35, -2, 110),
        s("CT.TI402", "temperature", "clear_juice_tank", "inside", "degC", 95, 10, 130),
        s("CT.FI403", "flow", "clear_juice_tank", "out", "m3/h", 243, -5, 500, "linear", 10),
        s(
            "CH.TI411",
            "temperature",
            "clear_juice_heater",
            "out",
            "degC",
            110,
            10,
            140,
            "linear",
            10,
        ),
        s("EV.TI501", "temperature", "first_evaporator", "inside", "degC", 113, 10, 140),
        s("EV.LI502", "level", "first_evaporator", "", "%", 60, -2, 110, "linear", 60),
        s("EV.AI503", "brix", "first_evaporator", "out", "%", 20, 5, 80, "linear", 60),
    )


def brindlewater_vessels() -> tuple[Vessel, ...]:
    return (
        Vessel("primary_heater", "heater", 1, 4.0, 72.0),
        Vessel("liming_tank", "liming_tank", 2, 90.0, 72.0, level_pct=70.0),
        Vessel("secondary_heater", "heater", 3, 5.0, 103.0),
        Vessel("flash_tank", "flash_tank", 4, 6.0, 100.3),
        Vessel(
            "settler",
            "settler",
            5,
            340.0,
            97.5,
            tanks=3,
            area_m2=95.0,
            mud_volume_m3=140.0,
            mud_level_pct=45.0,
            mud_flow_m3_h=25.0,
            mud_temp_degc=96.0,
        ),
        Vessel("clear_juice_tank", "clear_juice_tank", 6, 200.0, 95.0, level_pct=35.0),
        Vessel("clear_juice_heater", "clear_juice_heater", 7, 5.0, 110.0),
        Vessel(
            "first_evaporator", "evaporator_vessel", 8, 28.0, 113.0, level_pct=60.0, brix_pct=20.0
        ),
    )


def lab_points() -> tuple[LabSource, ...]:
    points = {
        "MJ": ("mixed_juice", ""),
        "LJ": ("liming_tank", "out"),
        "CJ": ("settler", "out"),
        "EJ": ("clear_juice_tank", "out"),
    }
    ph = [
        LabSource(f"LAB {point} ph", "ph", place, port, "pH", 3, 12, sd=0.06)
        for point, (place, port) in points.items()
    ]
    rs = [
        LabSource(f"LAB {point} rs", "rs", place, port, "%", 0, 5, rel_sd=0.025)
        for point, (place, port) in points.items()
    ]
    return tuple(ph + rs)


@pytest.fixture(scope="session")
def brindlewater() -> Station:
    """The invented mill at its targets."""
    return Station(
        brindlewater_vessels(),
        brindlewater_signals(),
        lab_points(),
        Targets(flow_feed_m3_h=265.0, ph_limed=7.5, ph_clear=6.95),
    )


@pytest.fixture(scope="session")
def nominal_grid():
    """Maker of grids at nominal values, with columns replaced by keyword."""

    def make(minutes: int = 600, drop: tuple[str, ...] = (), **columns) -> pl.DataFrame:
        brindlewater_signals()
        start = datetime(2025, 10, 6, 5, tzinfo=UTC)
        times = pl.datetime_range(
            start,
            start + timedelta(minutes=minutes - 1),
            "1m",
            time_unit="us",
            time_zone="UTC",
            eager=True,
        ).alias("ts_utc")
        values = {name: np.full(minutes, float(v)) for name, v in NOMINALS.items()}
        for name, replacement in columns.items():
            if name not in values:
                raise KeyError(name)
            values[name] = np.broadcast_to(np.asarray(replacement, dtype=float), (minutes,))
        kept = {name: v for name, v in values.items() if name not in drop}
        return pl.DataFrame({"ts_utc": times} | kept).fill_nan(None)

    return make
