"""A quiet station on a grid, to plant one thing at a time in."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.signal import lfilter

from features.flow.minutes import derive
from models.base.settings import Settings
from models.find.find import find_losses
from pipeline.mill.description import load_mill

START = datetime(2025, 10, 6, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]

NOMINAL = {
    "MJ.FI101": (265, 6), "MJ.TI102": (35, 0.5), "MJ.AI103": (14.5, 0.1), "MJ.AI104": (5.2, 0.05),
    "ML.WI001": (250, 5), "ML.FI002": (75, 1), "PH.TI201": (72, 0.5), "LT.FI211": (2600, 60),
    "LT.AI212": (7.5, 0.06), "LT.LI213": (70, 1), "LT.TI214": (72, 0.5), "SH.TI221": (103, 0.4),
    "SH.PI222": (165, 2), "FT.TI231": (100.3, 0.1), "ST.FI301": (268, 6), "ST.FI302": (900, 20),
    "ST.LI303": (100, 0.1), "ST.TI304": (97.5, 0.3), "ST.LI305": (45, 1.5), "ST.FI306": (25, 1),
    "ST.TI307": (96, 0.4), "ST.AI308": (6.95, 0.05), "ST.AI309": (25, 2), "ST.AI310": (4.2, 0.05),
    "CT.LI401": (35, 1.5), "CT.TI402": (95, 0.4), "CT.FI403": (240, 6), "CH.TI411": (110, 0.5),
    "EV.TI501": (113, 0.4), "EV.LI502": (60, 1), "EV.AI503": (20, 0.3),
}  # fmt: skip


class Plant:
    """Twelve days of ordinary minutes that a test may change before it asks for losses."""

    def __init__(self, station, days=12, seed=4):
        self.station, self.n = station, days * 1440
        rng = np.random.default_rng(seed)
        names = {s.tag: s.name for s in station.signals}
        phi = np.exp(-1 / 30)
        self.grid = {}
        for tag, (level, sd) in NOMINAL.items():
            noise = lfilter([np.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(self.n))
            self.grid[names[tag]] = level + sd * noise
        self.name = names
        self.lab_rows = []
        for hour in np.arange(1.0, days * 24, 3.0):
            for place, port, ph in (
                ("mixed_juice", "", 5.2), ("liming_tank", "out", 7.5), ("settler", "out", 6.95),
            ):  # fmt: skip
                self.lab_rows.append([hour, "ph", place, port, ph + rng.normal(0, 0.06), 0.06])

    def tag(self, name):
        return self.grid[self.name[name]]

    def hold_tank(self, first, last, by_pct=60.0, over_min=150):
        """Raise the clear-juice tank's level as the flow meters say, and let it fall again."""
        course = np.interp(
            np.arange(self.n),
            [first, first + over_min, last - over_min, last],
            [0, by_pct, by_pct, 0],
        )
        self.tag("CT.LI401")[:] += course
        self.tag("CT.FI403")[:] -= 200.0 / 100.0 * 60.0 * np.gradient(course)

    def shift_lab(self, place, first_h, last_h, by):
        for row in self.lab_rows:
            if row[2] == place and first_h <= row[0] < last_h:
                row[4] += by

    def derived(self):
        times = pl.Series("ts_utc", np.arange(self.n) * 60_000_000).cast(pl.Duration("us")) + START
        grid = pl.DataFrame([times.cast(pl.Datetime("us", "UTC"))]).with_columns(
            [pl.Series(name, values) for name, values in self.grid.items()]
        )
        return derive(grid.with_columns(pl.exclude("ts_utc").fill_nan(None)), self.station)

    def search(self, settings=None, **options):
        derived = self.derived()
        lab = pl.DataFrame(
            self.lab_rows, schema=["h", "analyte", "place", "port", "value", "sd"], orient="row"
        )
        ts = (pl.lit(START) + pl.duration(seconds=pl.col("h") * 3600)).cast(
            pl.Datetime("us", "UTC")
        )
        lab = lab.select(ts.alias("ts_utc"), "analyte", "place", "port", "value", "sd")
        return find_losses(
            derived.station_minutes,
            derived.zone_minutes,
            lab,
            self.station,
            settings or Settings(),
            **options,
        )


@pytest.fixture(scope="session")
def station():
    return load_mill(ROOT / "configs" / "demo_mill.toml").station


@pytest.fixture
def plant(station):
    return Plant(station)
