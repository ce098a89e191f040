"""Savings of replays against the simulator run again with the change truly made.

    python tests/benchmarks/replays.py --seeds 300 301 [--rounds 1] [--keep FOLDER]

Of each mill six changes, each in a period of its own of three to seven days: limed juice 0.2 pH
higher, settler and evaporator cooler, clear-juice tank lower, a tenth more throughput, and a stop
two hours shorter (a mill without such a stop: less mud). The simulator is run once more with the
drives changed in that period and nothing else; what it then destroys of the same sucrose fed, less
what it destroyed, is the truth. Printed: each saving with its interval and the truth, and how often
the interval holds. With --keep the mills stay in FOLDER and are used again.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray
from periods import WEEKS, made

from models.simulator import SEASON_START_UTC, draw_hard_mill
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import Drive, everyday
from models.simulator.drive import drive_matrix
from models.simulator.effects import apply_events
from models.simulator.habits import Habits
from models.simulator.integrate import TRACE_COLUMNS, integrate
from models.simulator.parameters import as_mixed_juice
from pipeline.base import ConfigError, DataError, Window
from pipeline.mill import Mill
from pipeline.replay import replay

_FED = TRACE_COLUMNS.index("fed")
_PER_H = round(1.0 / p.STEP_H)
CUT_H = 2.0
#: Savings above this are asked to be right within a quarter [t].
TOLD_T = 0.2


@dataclass(frozen=True)
class Trial:
    """A change and its period, hours after the start of the season."""

    said: str
    first_h: int
    last_h: int
    cut_at_h: float = 0.0


def moved(drive: Drive, trial: Trial) -> Drive:
    """Driving series with the change truly made."""
    out = {name: series.copy() for name, series in drive.items()}
    here = slice(trial.first_h * _PER_H, trial.last_h * _PER_H)
    if trial.said.startswith("stop_h"):
        first, cut = round(trial.cut_at_h * _PER_H), round(CUT_H * _PER_H)
        for name, series in drive.items():
            out[name][first : len(series) - cut] = series[first + cut :]
        return out
    name, by = {
        "ph_limed=+0.2": ("ph_setpoint", 0.2),
        "settler.temp_degc=-1.5": ("temp_flash", -1.5),
        "first_evaporator.temp_degc=-3": ("temp_evaporator", -3.0),
        "clear_juice_tank.level_pct=-12": ("tank_level", -12.0),
        "settler.mud_level_pct=-12": ("mud_level", -12.0),
        "flow=+10%": ("rate", 0.0),
    }[trial.said]
    if name == "rate":
        out[name][here] *= 1.1
    else:
        out[name][here] += by
    return out


def trials_of(events: tuple, weeks: int, rng: np.random.Generator) -> list[Trial]:
    """Six changes, each with a period."""
    out = []
    for said in (
        "ph_limed=+0.2",
        "settler.temp_degc=-1.5",
        "first_evaporator.temp_degc=-3",
        "clear_juice_tank.level_pct=-12",
        "flow=+10%",
    ):
        hours = 24 * int(rng.integers(3, 8))
        first = int(rng.integers(72, weeks * 168 - hours - 24))
        out.append(Trial(said, first, first + hours))
    stops = [e for e in events if e.cause == "standing_juice" and e.end_h - e.start_h > CUT_H + 1]
    if stops:
        stop = stops[int(rng.integers(len(stops)))]
        first = int(stop.start_h) - 12
        # The replay moves the longest stop of a period: no other one is to lie in this.
        last = min([e.start_h for e in events if e.start_h > stop.end_h] + [stop.end_h + 48])
        out.append(Trial(f"stop_h=-{CUT_H:g}", first, int(last), stop.end_h - CUT_H))
    else:
        first = int(rng.integers(72, weeks * 168 - 144))
        out.append(Trial("settler.mud_level_pct=-12", first, first + 120))
    return out


def truths(seed: int, weeks: int, rounds: int) -> list[tuple[Trial, float, float]]:
    """Each change with what was truly lost, and would have been [t]."""
    hard = draw_hard_mill(seed)
    plant, habits = hard.plant, hard.habits or Habits()
    streams = np.random.default_rng(np.random.SeedSequence([seed, 7])).spawn(4)
    events = simulate_events(seed, weeks, habits, plant)
    steps = weeks * 168 * 3600 // p.STEP_S
    base = everyday(
        streams[1], steps, steady=plant.steady, unrest=plant.unrest, manners=plant.manners
    )
    drive = apply_events(base, events, 0, steps)
    rng = np.random.default_rng(np.random.SeedSequence([seed, 71]))
    trials = [t for _ in range(rounds) for t in trials_of(events, weeks, rng)]
    inner = as_mixed_juice(plant)
    lanes = [drive, *(moved(drive, trial) for trial in trials)]
    matrix = np.stack([drive_matrix(lane, inner) for lane in lanes], axis=1)
    state = c.fresh_state(inner, matrix[0, 0, : c.SPECIES])
    begin = integrate(inner, state, np.repeat(matrix[:1, :1], 12 * _PER_H, axis=0)).last
    run = integrate(inner, c.stack([begin] * len(lanes)), matrix)
    zones = run.destroyed_kg_h[:, :, : len(c.ZONES)].sum(axis=2)
    out = []
    for lane, trial in enumerate(trials, start=1):
        was = slice(trial.first_h * _PER_H, trial.last_h * _PER_H)
        shorter = round(CUT_H * _PER_H) if trial.cut_at_h else 0
        now = slice(was.start, was.stop - shorter)
        fed = run.trace[:, :, _FED]
        share = float(fed[now, lane].sum() / fed[was, 0].sum())
        out.append((trial, tonnes(zones[was, 0]), tonnes(zones[now, lane]) / share))
    return out


def simulate_events(seed: int, weeks: int, habits: Habits, plant: p.PlantParameters) -> tuple:
    """The plan of a mill's season, as the simulator draws it."""
    from models.simulator.hard_events import plan_hard_events

    own = np.random.default_rng(np.random.SeedSequence([seed, 43])).spawn(2)
    filtrate = plant.manners is not None and plant.manners.filtrate_share > 0.0
    return plan_hard_events(own[0], weeks, habits, filtrate=filtrate)


def tonnes(kg_h: NDArray[np.float64]) -> float:
    return float(kg_h.sum() * p.STEP_H) / 1000.0


def judged(seed: int, mill: Mill, rounds: int) -> list[dict[str, object]]:
    """Replays of one mill beside the truth."""
    rows: list[dict[str, object]] = []
    for trial, was, now in truths(seed, WEEKS, rounds):
        start = SEASON_START_UTC + timedelta(hours=trial.first_h)
        window = Window(start, SEASON_START_UTC + timedelta(hours=trial.last_h))
        row: dict[str, object] = {"seed": seed, "set": trial.said, "lost": was, "true": was - now}
        began = time.perf_counter()
        try:
            found = replay(mill, window, [trial.said]).saving
        except (ConfigError, DataError) as error:
            rows.append(row | {"refused": error.where.splitlines()[0]})
            continue
        saved = found.saved
        rows.append(
            row
            | {
                "claimed": found.recorded_t, "saved": saved.mid, "low": saved.low,
                "high": saved.high, "holds": saved.low <= was - now <= saved.high,
                "ratio": saved.mid / (was - now),
                "shape": (saved.mid / found.recorded_t) / ((was - now) / was),
                "wrong_sign": (saved.low > 0.0 or saved.high < 0.0) and saved.mid * (was - now) < 0,
                "seconds": time.perf_counter() - began,
            }
        )  # fmt: skip
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[300, 301])
    parser.add_argument("--rounds", type=int, default=1, help="times six changes a mill")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lostpol_replays_") as name:
        folder = given.keep or Path(name)
        rows: list[dict[str, object]] = []
        for seed in given.seeds:
            rows += judged(seed, made(seed, folder), given.rounds)
            print(f"mill {seed} done", flush=True)
    frame = pl.DataFrame(rows, infer_schema_length=None)
    with pl.Config(
        tbl_rows=400, tbl_cols=20, tbl_width_chars=200, fmt_str_lengths=70, float_precision=3
    ):
        print(frame)
    refused = frame.filter(pl.col("refused").is_not_null()) if "refused" in frame.columns else None
    answered = frame.filter(pl.col("saved").is_not_null())
    large = answered.filter(pl.col("true").abs() > TOLD_T)
    near = (large["ratio"] - 1.0).abs() <= 0.25
    shaped = (large["shape"] - 1.0).abs() <= 0.25
    print(f"answered {answered.height}, refused {0 if refused is None else refused.height}")
    print(f"interval holds: {100 * answered['holds'].mean():.0f} % (wanted 85-95)")
    print(f"sign wrong where the interval excludes nothing: {answered['wrong_sign'].sum()}")
    print(f"true saving above {TOLD_T} t: {large.height}, within 25 %: {near.sum()}; "
          f"as a share of the loss of the period within 25 %: {shaped.sum()}")  # fmt: skip
    print(large.group_by("set").agg(
        pl.len(), pl.col("ratio").median().alias("claimed over true"),
        pl.col("shape").median().alias("the same as shares"),
        pl.col("shape").std().alias("scatter of these")))  # fmt: skip
    print(f"a replay takes {answered['seconds'].median():.2f} s (median)")


if __name__ == "__main__":
    main()
