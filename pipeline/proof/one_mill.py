"""One simulated mill, from its hidden truth to the marks of lostpol and of simpler rules.

Its exports are pulled into a lake in a temporary folder, derived, searched and ranked, and the
folder is removed before the next: memory and disk do not grow with the number of mills. The
pipeline never reads the truth; only the marks do.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from models.judge import (
    PH_ALARM,
    NightlyList,
    Rule,
    Scorecard,
    as_it_stood,
    at_random,
    fixed_limits,
    flag_everything,
    forest_on_raw_tags,
    hints_of,
    quarter_hours,
    report_nothing,
    score,
    three_sigma_per_tag,
    usual_limits,
)
from models.simulator import (
    TAGS,
    Habits,
    HardMill,
    PlantParameters,
    Season,
    draw_any_plant,
    draw_hard_mill,
    draw_plant,
    sampled,
    simulate_season,
)
from pipeline.base import Progress, silent
from pipeline.lake import GRID, lake_of
from pipeline.mill import Mill, load_mill
from pipeline.proof.replay import nightly_moments, replay
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import VOLUME_LOG_SD, described
from pipeline.stages import derive, detect, pull
from pipeline.store import store_of

LISTED: Final = "listed"
CONFIDENT: Final = "confident"
THREE_SIGMA: Final = "3 sigma"
FIXED_LIMITS: Final = "fixed limits"
_TEMPLATE: Final = Path(__file__).resolve().parents[2] / "configs" / "demo_mill.toml"


@dataclass(frozen=True, slots=True)
class Plan:
    """What to simulate and mark.

    Attributes
    ----------
    seeds : tuple of int
        One mill each.
    weeks : int
        Length of every season [weeks], at least 1.
    any_mill : bool
        Stations from as wide a range as mills differ, not only ones like the template.
    nightly : bool
        Replay every morning too.
    jobs : int
        Mills worked on at the same time.
    template : Path
        Description that the mills' own ones are made from.
    hard : bool
        Such stations with manners and habits of their own: long memory, filtrate, drifts, pairs of
        faults, missing tags and analyses.
    """

    seeds: tuple[int, ...]
    weeks: int = 6
    any_mill: bool = True
    nightly: bool = False
    jobs: int = 1
    template: Path = _TEMPLATE
    hard: bool = False


@dataclass(frozen=True, slots=True)
class MillMarks:
    """Marks of one simulated mill.

    Attributes
    ----------
    seed : int
    plant : PlantParameters
        Its hidden truth.
    cards : mapping of str to Scorecard
        By method; lostpol's own are `LISTED` and, where findings carry a mark, `CONFIDENT`.
    loss_share, event_share : float
        Share of the season that planted losses, and all planted events, fill.
    seconds : float
        Time from exports to findings [s].
    habits : Habits or None
        Of a mill that has any.
    traits : tuple of str
        Words for all its manners and habits.
    """

    seed: int
    plant: PlantParameters
    cards: Mapping[str, Scorecard]
    loss_share: float
    event_share: float
    seconds: float
    habits: Habits | None = None
    traits: tuple[str, ...] = ()

    @property
    def lactic(self) -> bool:
        """Whether its laboratory analyses lactic acid before the station and in it."""
        return self.habits is None or self.habits.tells_lactic


def mark_mill(seed: int, plan: Plan, progress: Progress = silent) -> MillMarks:
    """Simulate, search and mark one mill."""
    progress(f"Simulating mill {seed}", 0, 1)
    hard = draw_hard_mill(seed) if plan.hard else None
    season = _season(seed, plan, hard)
    plant = season.parameters
    with tempfile.TemporaryDirectory(prefix="lostpol_mill_") as name:
        folder = Path(name)
        if hard is None:
            mill = load_mill(plan.template).with_store(folder / "store")
            mill = believed(mill, plant, seed) if plan.any_mill else mill
        else:
            series = season.lab["point_analyte"].unique().to_list()
            mill = described(plan.template, hard, seed, series, folder)
        files = [p for p in write_sample(folder, season) if p.stem not in HIDDEN]
        truth = season.truth
        del season
        began = time.perf_counter()
        findings = _find(mill, files, progress)
        seconds = time.perf_counter() - began
        cards = _cards(mill, truth, findings, seed, plan, progress)
    hours = (pl.col("end_utc") - pl.col("start_utc")).dt.total_seconds().sum() / 3600.0
    season_h = plan.weeks * 168.0
    return MillMarks(
        seed=seed,
        plant=plant,
        cards=cards,
        loss_share=float(truth.filter(pl.col("kind") == "loss").select(hours).item()) / season_h,
        event_share=float(truth.select(hours).item()) / season_h,
        seconds=seconds,
        habits=hard.habits if hard else None,
        traits=hard.present() if hard else (),
    )


def _season(seed: int, plan: Plan, hard: HardMill | None) -> Season:
    if hard is not None:
        return simulate_season(seed, plan.weeks, parameters=hard.plant, habits=hard.habits)
    plant = draw_any_plant(seed) if plan.any_mill else draw_plant(seed)
    return simulate_season(seed, plan.weeks, parameters=plant)


def _find(mill: Mill, files: Sequence[Path], progress: Progress) -> pl.DataFrame:
    pull(mill, files, progress)
    derive(mill, None, progress)
    detect(mill, "backfill", lake_of(mill).days()[0], progress)
    return store_of(mill).findings()


def believed(mill: Mill, plant: PlantParameters, seed: int) -> Mill:
    """The description a mill of that size would write.

    Its volumes are each some 8 % wrong; how often its tags are sampled it knows.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 17]))
    true = {
        "liming_tank": plant.liming_m3,
        "settler": plant.settler_m3,
        "clear_juice_tank": plant.clear_tank_m3,
        "first_evaporator": plant.evaporator_m3,
    }

    def about(value: float) -> float:
        return value * float(np.exp(rng.normal(0.0, VOLUME_LOG_SD)))

    vessels = tuple(
        replace(
            vessel,
            volume_m3=about(true.get(vessel.name, vessel.volume_m3)),
            mud_volume_m3=about(plant.mud_m3) if vessel.mud_volume_m3 else 0.0,
        )
        for vessel in mill.station.vessels
    )
    every_s = {tag.name: float(sampled(tag, plant.sampling).every_s) for tag in TAGS}
    signals = tuple(
        replace(signal, every_s=every_s.get(signal.tag, signal.every_s))
        for signal in mill.station.signals
    )
    return replace(mill, station=replace(mill.station, vessels=vessels, signals=signals))


def _cards(
    mill: Mill,
    truth: pl.DataFrame,
    findings: pl.DataFrame,
    seed: int,
    plan: Plan,
    progress: Progress,
) -> dict[str, Scorecard]:
    """Marks of lostpol and of every baseline on one mill."""
    weeks = float(plan.weeks)
    lake = lake_of(mill)
    days = lake.days()
    blocks = quarter_hours(lake.read_features(GRID, days[0], days[-1]))
    moments = nightly_moments(mill) if plan.nightly else []
    own = list(replay(mill, progress)) if plan.nightly else []
    cards = {LISTED: score(truth, findings, weeks, own)}
    if "mark" in findings.columns:
        sure = pl.col("mark") == CONFIDENT
        nights = [NightlyList(m.at_utc, m.findings.filter(sure)) for m in own]
        cards[CONFIDENT] = score(truth, findings.filter(sure), weeks, nights)
    hints = hints_of(truth, weeks * 168.0)
    start, end = blocks["ts_utc"][0], blocks["ts_utc"][-1] + timedelta(minutes=15)
    for name, fixed in {
        "nothing": report_nothing(),
        "everything": flag_everything(start, end, hints),
        "random": at_random(findings, start, end, seed),
    }.items():
        cards[name] = score(truth, fixed, weeks, [as_it_stood(fixed, at) for at in moments])
    limits = usual_limits(mill.station)
    alarm = [limit for limit in limits if limit.column == PH_ALARM]
    rules: dict[str, Rule] = {
        "pH limit": lambda known: fixed_limits(known, alarm, hints),
        FIXED_LIMITS: lambda known: fixed_limits(known, limits, hints),
        THREE_SIGMA: lambda known: three_sigma_per_tag(known, hints),
        "forest": lambda known: forest_on_raw_tags(known, hints),
    }
    for name, rule in rules.items():
        progress(f"Marking the simple rules: {name}", 0, 1)
        cards[name] = score(truth, rule(blocks), weeks, _rule_lists(rule, blocks, moments))
    return cards


def _rule_lists(rule: Rule, blocks: pl.DataFrame, moments: Sequence[datetime]) -> list[NightlyList]:
    """What a simple rule would have listed every morning, from what it had seen by then."""
    return [NightlyList(at, rule(blocks.filter(pl.col("ts_utc") < at))) for at in moments]
