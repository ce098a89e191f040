"""What of unkind mills is recovered within its own interval: tonnes, weeks, seasons and the mill.

    python tests/benchmarks/recovered.py --seeds 300 301 [--keep FOLDER]

Each mill is simulated, searched and kept as `periods.py` keeps it. Printed, over all mills: the
median factor of found events, where the level can be fitted and where it cannot; claimed over
planted; how many 90 % intervals hold the truth, of findings, days, weeks and seasons, with their
median width; the same of the mill's multiplier, pH slope and filtrate share; NDCG at 10.

The true multiplier is what the station lost over what the published rate would have lost with the
probes set right, over all running minutes without planted microbes. The filtrate's share is asked
of the two flow meters on both sides of its return, where a mill has both.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from periods import WEEKS, calendar, made

from features.kinetics import Z90
from models.find import Losses
from models.judge import Scorecard, pooled, score
from models.simulator import draw_hard_mill
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.present.filtrate import metered_share
from pipeline.stages import plan, search
from pipeline.store import published_store_of

_ZONE, _UNIT = "destroyed_", "_kg_h"


@dataclass(frozen=True)
class Told:
    """One figure of a mill beside its truth."""

    seed: int
    name: str
    value: float
    low: float
    high: float
    truth: float

    @property
    def holds(self) -> bool:
        """Whether its interval holds the truth."""
        return self.low <= self.truth <= self.high


def true_multiplier(losses: Losses, planted: pl.DataFrame, events: pl.DataFrame) -> float:
    """Tonnes truly lost over those of the published rate [-]."""
    minutes, biases = losses.driven.minutes, losses.driven.biases
    at = np.array([minutes.index_of(t) for t in planted["ts_utc"]]) + 2
    inside = (at >= 0) & (at < minutes.n)
    at, planted = at[inside], planted.filter(inside)
    runs = ~minutes.stopped[at]
    for event in events.filter(pl.col("cause") == "microbial").to_dicts():
        spell = planted["ts_utc"].is_between(event["start_utc"], event["end_utc"], closed="left")
        runs &= ~spell.to_numpy()
    limed, clear = (
        biases[name].bias if name in biases else np.zeros(minutes.n) for name in ("limed", "clear")
    )
    lost, published = 0.0, 0.0
    for zone, col in minutes.zones.items():
        if f"{_ZONE}{zone}{_UNIT}" not in planted.columns:
            continue
        wrong = col["w_ph_limed"] * limed + col["w_ph_clear"] * clear
        rate = (col["loss_kg_h"] * 10.0**wrong)[at]
        known = runs & np.isfinite(rate)
        published += float(rate[known].sum())
        lost += float(planted[f"{_ZONE}{zone}{_UNIT}"].to_numpy()[known].sum())
    return lost / published


def recovered(seed: int, mill: Mill, home: Path) -> list[Told]:
    """Multiplier, pH slope and filtrate share of one mill."""
    planted, events = (pl.read_parquet(home / f"{n}.parquet") for n in ("minutes", "events"))
    lake, plant = lake_of(mill), draw_hard_mill(seed).plant
    (window,) = plan(mill, lake)
    losses = search(mill, lake, window.sees)
    found, (slope, slope_sd) = losses.multiplier, losses.driven.level.ph_slope
    told = [
        Told(seed, "multiplier" if found.pairs else "multiplier, prior alone", found.value,
             found.low, found.high, true_multiplier(losses, planted, events)),
        Told(seed, "pH slope", slope, slope - Z90 * slope_sd, slope + Z90 * slope_sd,
             plant.ph_slope),
    ]  # fmt: skip
    days = lake.days()
    share = metered_share(mill, days[0], days[-1])
    if share is not None:
        spread = Z90 * share.sd
        told.append(Told(seed, "filtrate share", share.share, share.share - spread,
                         share.share + spread, _true_share(mill, planted)))  # fmt: skip
    return told


def _true_share(mill: Mill, planted: pl.DataFrame) -> float:
    if "filtrate_true_m3_h" not in planted.columns:
        return 0.0
    manners = draw_hard_mill(int(mill.config_path.parent.name.removeprefix("mill"))).plant.manners
    return 0.0 if manners is None else manners.filtrate_share


def report(told: list[Told]) -> None:
    """A line for each kind of figure."""
    for name in dict.fromkeys(one.name for one in told):
        own = [one for one in told if one.name == name]
        apart = np.median([abs(one.value - one.truth) for one in own])
        wide = np.median([one.high - one.low for one in own])
        print(f"{name:28s} holds {sum(one.holds for one in own):3d} of {len(own):3d} "
              f"({100 * np.mean([one.holds for one in own]):3.0f} %)   apart {apart:.3g}   "
              f"median width {wide:.3g}")  # fmt: skip


def findings_line(name: str, card: Scorecard, found: pl.DataFrame) -> None:
    """Factor, sum and intervals of findings."""
    width = (found["lost_t_high"] / found["lost_t_low"].clip(1e-9)).median()
    off = math.nan if card.factor_error is None else card.factor_error
    held = math.nan if card.coverage is None else 100 * card.coverage
    rows = card.events.filter("found")
    over = rows["lost_t"].sum() / max(rows["planted_t"].sum(), 1e-9)
    print(f"{name:28s} {card.found_events:3d} of {card.loss_events:3d} events, "
          f"{100 * card.tonnes_found_share:3.0f} % of the tonnes   factor {off:.2f}   "
          f"claimed/planted {over:.2f}   interval holds {held:3.0f} %   high/low {width:.1f}   "
          f"NDCG {card.ndcg if card.ndcg is not None else math.nan:.2f}   "
          f"false {card.false_per_week:.2f} a week")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[300, 301])
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--json", type=Path, help="each figure of each mill as well")
    given = parser.parse_args()
    told: list[Told] = []
    spans: list[dict[str, object]] = []
    cards: dict[bool, list[Scorecard]] = {True: [], False: []}
    found: dict[bool, list[pl.DataFrame]] = {True: [], False: []}
    with tempfile.TemporaryDirectory(prefix="lostpol_recovered_") as name:
        folder = given.keep or Path(name)
        for seed in given.seeds:
            mill, home = made(seed, folder), folder / f"mill{seed}"
            own = recovered(seed, mill, home)
            told += own
            spans += calendar(seed, mill, home)
            rows = published_store_of(mill).findings()
            fitted = own[0].name == "multiplier"
            cards[fitted].append(score(pl.read_parquet(home / "events.parquet"), rows, WEEKS))
            found[fitted].append(rows)
            print("mill", seed, "  ".join(
                f"{one.name} {one.value:.3g} ({one.low:.3g} to {one.high:.3g}), true "
                f"{one.truth:.3g}{'' if one.holds else ' MISSED'}" for one in own
            ), flush=True)  # fmt: skip
    for fitted, words in ((True, "level fitted"), (False, "level by the prior alone")):
        if cards[fitted]:
            findings_line(words, pooled(cards[fitted]), pl.concat(found[fitted]))
    both = cards[True] + cards[False]
    findings_line("all mills", pooled(both), pl.concat(found[True] + found[False]))
    frame = pl.DataFrame(spans)
    for kind in ("day", "week", "season"):
        own = frame.filter(pl.col("kind") == kind)
        print(f"{kind + 's':28s} interval holds {own['holds'].sum():4d} of {own.height:4d} "
              f"({100 * own['holds'].mean():3.0f} %)   high/low {own['width'].median():.1f}   "
              f"claimed/true {(own['lost_t'] / own['true_t']).median():.2f}")  # fmt: skip
    report(told)
    if given.json:
        given.json.write_text(
            json.dumps([one.__dict__ | {"holds": one.holds} for one in told] + spans, indent=1)
        )


if __name__ == "__main__":
    main()
