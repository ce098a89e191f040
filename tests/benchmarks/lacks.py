"""What one lack alone does to the tonnes: hard mills whose tags and analyses are all there but one.

    python tests/benchmarks/lacks.py --seeds 300 301 302 303 [--weeks 4] [--only NAME ...]

Each mill keeps its manners (memory, filtrate, meters, its own kinetics) and is simulated once with
everything measured and once for each lack. Printed, over all mills: tonnes found, the median factor
by which found events are off, its bias, and how many intervals hold the truth. To compare two
versions, run this file with each on PYTHONPATH: the simulator's mills are the same.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from models.judge import Scorecard, score
from models.simulator import draw_hard_mill, simulate_season
from pipeline.lake import lake_of
from pipeline.proof.one_mill import Plan
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import described
from pipeline.stages import derive, detect, pull
from pipeline.store import store_of

#: Changes of a mill's habits, by the lack's name.
LACKS: dict[str, dict[str, Any]] = {
    "nothing": {},
    "reducing sugars of mixed and clear juice only": {"lab_plan": "mixed_clear"},
    "reducing sugars of clear juice and syrup only": {"lab_plan": "clear_syrup"},
    "pH and reducing sugars of mixed juice only": {"lab_plan": "mixed_limed_ph"},
    "no mud level": {"lacks": ("ST.LI305",)},
    "no lactic acid": {"lactic": False},
    "no thermometer on the evaporator": {"lacks": ("EV.TI501",)},
    "no level of evaporator and settler": {"lacks": ("EV.LI502", "ST.LI303")},
    "two faults at once": {"shapes": ("pair",)},
}


def marks(seed: int, weeks: int, change: dict[str, Any]) -> Scorecard:
    """Simulate, search and mark one mill with one lack."""
    hard = draw_hard_mill(seed)
    tidy = {"lab_plan": "all", "lactic": True, "lacks": (), "composite_h": 0.0, "shapes": ()}
    hard = replace(hard, habits=replace(hard.habits, **(tidy | change)))
    season = simulate_season(seed, weeks, parameters=hard.plant, habits=hard.habits)
    with tempfile.TemporaryDirectory(prefix="lostpol_lack_") as name:
        folder = Path(name)
        series = season.lab["point_analyte"].unique().to_list()
        mill = described(Plan(()).template, hard, seed, series, folder)
        files = [p for p in write_sample(folder, season) if p.stem not in HIDDEN]
        pull(mill, files)
        derive(mill, None)
        detect(mill, "backfill", lake_of(mill).days()[0])
        return score(season.truth, store_of(mill).findings(), float(weeks))


def summed(cards: list[Scorecard]) -> str:
    """One line over all mills."""
    events = pl.concat([card.events for card in cards], how="vertical_relaxed")
    losses = events.filter(pl.col("found"))
    ratio = np.log((losses["lost_t"] / losses["planted_t"]).to_numpy())
    held = losses.select(
        pl.col("planted_t").is_between(pl.col("lost_t_low"), pl.col("lost_t_high")).mean()
    ).item()
    planted, found = events["planted_t"].sum(), losses["planted_t"].sum()
    off, bias = np.exp(np.median(np.abs(ratio))), np.exp(np.median(ratio))
    return (
        f"{100 * found / planted:4.0f} % of {planted:4.0f} t   factor {off:.2f}   "
        f"bias {bias:.2f}   interval {100 * held:3.0f} % of {losses.height}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[300, 301, 302, 303])
    parser.add_argument("--weeks", type=int, default=4)
    parser.add_argument("--only", nargs="+", choices=LACKS, default=list(LACKS))
    given = parser.parse_args()
    for name in given.only:
        cards = [marks(seed, given.weeks, LACKS[name]) for seed in given.seeds]
        print(f"{name:46s} {summed(cards)}", flush=True)


if __name__ == "__main__":
    main()
