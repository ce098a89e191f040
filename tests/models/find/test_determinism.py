"""The same to the last digit: any number of threads, any order of the rows that come in."""

import hashlib
import importlib.util
import os
import sys
from pathlib import Path

import polars as pl
import pytest

from features.flow.minutes import derive
from features.signal.grid import to_grid
from features.signal.quality import screen
from models.base.settings import Settings
from models.find.find import find_losses

HERE = Path(__file__).resolve()
DAYS = 8


def searched(seed):
    """Digest of all a search says, from readings to findings; rows shuffled by `seed` if any."""
    spec = importlib.util.spec_from_file_location("plant_of_tests", HERE.parents[1] / "conftest.py")
    tools = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tools)
    station = tools.load_mill(tools.ROOT / "configs" / "demo_mill.toml").station
    plant = tools.Plant(station, days=DAYS)
    plant.tag("LT.AI212")[5 * 1440 : 5 * 1440 + 700] -= 0.5
    plant.hold_tank(2 * 1440, 2 * 1440 + 900)
    plant.shift_lab("liming_tank", 5 * 24, 5 * 24 + 12, -0.5)

    def any_order(frame):
        return frame.sample(fraction=1.0, shuffle=True, seed=seed) if seed else frame

    minutes = pl.datetime_range(
        tools.START, tools.START + pl.duration(days=DAYS), "1m", closed="left", eager=False
    )
    times = pl.select(minutes.cast(pl.Datetime("us", "UTC"))).to_series()
    readings = pl.concat(
        pl.DataFrame({"ts_utc": times, "tag": tag, "value": plant.tag(tag)})
        for tag in tools.NOMINAL
    ).with_columns(bad=pl.lit(value=False), reason=pl.lit(None, pl.String))
    sound = screen(any_order(readings), station.signals, station.lab)
    grid = to_grid(any_order(sound), station.signals, times[0], times[-1])
    derived = derive(grid, station)
    when = (pl.lit(tools.START) + pl.duration(seconds=pl.col("h") * 3600)).cast(times.dtype)
    lab = pl.DataFrame(
        plant.lab_rows, schema=["h", "analyte", "place", "port", "value", "sd"], orient="row"
    ).select(when.alias("ts_utc"), pl.exclude("h"))
    found = find_losses(
        any_order(derived.station_minutes),
        any_order(derived.zone_minutes),
        any_order(lab.filter(pl.col("ts_utc") < times[-1])),
        station,
        Settings(),
    )
    frames = (found.findings, found.notices, found.minutes, found.daily)
    text = "".join(frame.write_csv() for frame in frames) + repr(found.multiplier)
    return f"{found.findings.height} {hashlib.sha256(text.encode()).hexdigest()}"


def run_with(threads, seed):
    import processes  # which this file as a program would not find

    names = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
    environment = os.environ | dict.fromkeys(names, str(threads))
    command = [sys.executable, HERE, seed]
    code, said, errors = processes.ran(command, env=environment, cwd=HERE.parents[3])
    assert code == 0, errors
    return said.strip()


@pytest.mark.slow
def test_threads_and_order_of_rows_change_nothing():
    alone = run_with(threads=1, seed=0)
    assert int(alone.split()[0]) >= 2
    assert run_with(threads=4, seed=11) == alone


if __name__ == "__main__":
    sys.stdout.write(searched(int(sys.argv[1])))
