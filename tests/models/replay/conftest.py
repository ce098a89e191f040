"""A steady simulated station, run as it is and with something truly changed."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from features.base import polars_schema
from models.account import DRIVEN_COLUMNS
from models.simulator import TAGS
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import everyday
from models.simulator.drive import drive_matrix
from models.simulator.integrate import integrate
from models.simulator.parameters import PlantParameters, as_mixed_juice
from models.simulator.truth_series import tag_courses
from pipeline.mill import load_mill

ROOT = Path(__file__).resolve().parents[3]
START = datetime(2025, 10, 6, tzinfo=UTC)
HOURS, FIRST_H, LAST_H = 60, 30, 54
PER_H = round(1 / p.STEP_H)
#: What the replay is told, and what is truly done to the simulator's drives.
TRULY = {
    "": ("ph_setpoint", 0.0),
    "ph_limed=+0.2": ("ph_setpoint", 0.2),
    "ph_limed=-0.2": ("ph_setpoint", -0.2),
    "first_evaporator.temp_degc=-3": ("temp_evaporator", -3.0),
    "secondary_heater.temp_degc=-5": ("temp_secondary", -5.0),
    "clear_juice_tank.level_pct=-15": ("tank_level", -15.0),
    "settler.mud_level_pct=+20": ("mud_level", 20.0),
}


@pytest.fixture(scope="session")
def station():
    return load_mill(ROOT / "configs" / "demo_mill.toml").station


@pytest.fixture(scope="session")
def truly():
    """Grid of the steady station, and what was lost with each change truly made [kg/h by zone]."""
    plant = as_mixed_juice(PlantParameters(steady=True))
    steps = HOURS * PER_H
    base = everyday(np.random.default_rng(1), steps, steady=True)
    here = slice(FIRST_H * PER_H, LAST_H * PER_H)
    lanes = []
    for name, by in TRULY.values():
        lane = {key: series.copy() for key, series in base.items()}
        lane[name][here] += by
        lanes.append(drive_matrix(lane, plant))
    matrix = np.stack(lanes, axis=1)
    state = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    begin = integrate(plant, state, np.repeat(matrix[:1, :1], 24 * PER_H, axis=0)).last
    run = integrate(plant, c.stack([begin] * len(lanes)), matrix)
    still = integrate(plant, begin, matrix[:, :1], contents=True)
    lost = {
        said: run.destroyed_kg_h[here, lane].sum(axis=0) * p.STEP_H / 1000.0
        for lane, said in enumerate(TRULY)
    }
    return _grid(tag_courses(still, base, plant)), lost


def _grid(courses):
    minutes = HOURS * 60
    times = pl.Series("ts_utc", np.arange(minutes) * 60_000_000).cast(pl.Duration("us")) + START
    station = load_mill(ROOT / "configs" / "demo_mill.toml").station
    known = {tag.name for tag in TAGS}
    columns = {
        s.name: courses[s.tag].reshape(minutes, -1).mean(axis=1)
        for s in station.signals
        if s.tag in courses and s.tag in known
    }
    return pl.DataFrame({"ts_utc": times.cast(pl.Datetime("us", "UTC"))} | columns)


@pytest.fixture
def inside():
    rows = np.zeros(HOURS * 60, bool)
    rows[FIRST_H * 60 : LAST_H * 60] = True
    return rows


@pytest.fixture
def as_driven():
    """Rows of `DRIVEN_COLUMNS` from derived minutes: their own loss, times a multiplier."""

    def make(derived, multiplier=1.5, ph_sd=0.05, level_log_sd=0.3):
        zones = derived.zone_minutes
        columns = {name: pl.lit(None) for name in DRIVEN_COLUMNS}
        columns |= {
            "ts_utc": pl.col("ts_utc"), "zone": pl.col("zone"),
            "lost_kg_h": multiplier * pl.col("loss_kg_h"),
            "target_kg_h": multiplier * pl.col("loss_ref_kg_h"),
            "usual_kg_h": multiplier * pl.col("loss_kg_h"),
            "measured": pl.col("loss_kg_h").is_not_null(), "ph_sd": pl.lit(ph_sd),
            "level_log_sd": pl.lit(level_log_sd),
        }  # fmt: skip
        frame = zones.select(**columns)
        return frame.cast(dict(polars_schema(DRIVEN_COLUMNS)))

    return make
