"""What a calendar of planned stops and calibrations changes: the same mills without it and with it.

    python tests/benchmarks/calendar_known.py                     # hard mills 330, 331 and 332
    python tests/benchmarks/calendar_known.py 335 --keep FOLDER   # leaves the mill there

Each mill is searched twice. The calendar holds what a mill writes down beforehand: every stop
(those in which juice stood hot and was lost, too: that is not known beforehand) and every
calibration of the limed-juice probe, those that end a drift included. Nothing of what was lost.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import polars as pl

from models.account import KNOWN_NOTICE
from models.judge import Scorecard, pooled, score
from models.simulator import draw_hard_mill, simulate_season
from pipeline.lake import NOTICES, lake_of
from pipeline.mill import Mill
from pipeline.proof.one_mill import Plan
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import described
from pipeline.stages import derive, detect, keep_calendar, pull
from pipeline.store import store_of

SEEDS = (330, 331, 332)
WEEKS = 6
#: A probe is off line for so long while it is calibrated (as the simulator has it).
CALIBRATION = timedelta(minutes=18)
STOPS = ("handled_stop", "standing_juice")
PROBE = "LT.AI212"


@dataclass(frozen=True)
class Searched:
    """What one search of a mill gave."""

    card: Scorecard
    findings: pl.DataFrame
    notices: pl.DataFrame

    @property
    def surprises(self) -> int:
        """Notices that are not told as known."""
        return self.notices.filter(pl.col("kind") != KNOWN_NOTICE).height


def made(seed: int, folder: Path) -> tuple[Mill, pl.DataFrame]:
    """A mill whose exports are in its lake, and its truth."""
    hard = draw_hard_mill(seed)
    season = simulate_season(seed, WEEKS, parameters=hard.plant, habits=hard.habits)
    series = season.lab["point_analyte"].unique().to_list()
    mill = described(Plan(()).template, hard, seed, series, folder)
    pull(mill, [p for p in write_sample(folder, season) if p.stem not in HIDDEN])
    derive(mill, None)
    return mill, season.truth


def calendar(truth: pl.DataFrame) -> pl.DataFrame:
    """What the mill wrote down beforehand: from, to, kind, text."""
    rows = []
    for event in truth.to_dicts():
        begin, end = event["start_utc"], event["end_utc"]
        if event["cause"] in STOPS:
            rows.append((begin, end, "stop", "planned stop"))
        elif event["cause"] == "probe_calibration":
            rows.append((begin, end, "calibration", f"{PROBE} calibrated"))
        elif event["cause"] == "ph_probe_high":
            rows.append((end - CALIBRATION, end, "calibration", f"{PROBE} calibrated"))
    said = [(f"{a.isoformat()}", f"{b.isoformat()}", kind, text) for a, b, kind, text in rows]
    return pl.DataFrame(said, schema=["from", "to", "kind", "text"], orient="row")


def searched(mill: Mill, truth: pl.DataFrame) -> Searched:
    """Search a mill, and mark what was found."""
    lake = lake_of(mill)
    detect(mill, "backfill", lake.days()[0])
    findings = store_of(mill).findings()
    days = lake.feature_days(NOTICES)
    notices = lake.read_features(NOTICES, days[0], days[-1])
    return Searched(score(truth, findings, WEEKS), findings, notices)


def told(name: str, cards: list[Scorecard], surprises: int) -> str:
    """One line of figures."""
    card = pooled(cards)
    touched = int(card.events["touched"].sum())
    return (
        f"{name:<24} findings {card.findings:3d}, false {card.false_findings:2d} "
        f"({card.false_t:.2f} t), look-alikes claimed {card.confusers_claimed} of "
        f"{card.confusers}; "
        f"losses touched {touched} of {card.events.height}, tonnes found "
        f"{100 * card.tonnes_found_share:.1f} %; notices told as a surprise {surprises}"
    )


def hidden(before: Scorecard, after: Scorecard) -> list[str]:
    """Planted losses that were touched without the calendar and are not with it."""
    both = before.events.join(after.events, on="event", suffix="_after")
    lost = both.filter(pl.col("touched") & ~pl.col("touched_after"))
    return [f"{row['cause']} of {row['planted_t']:.2f} t" for row in lost.to_dicts()]


def main() -> None:
    """Run from the command line."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    ask.add_argument("seeds", nargs="*", type=int, default=list(SEEDS))
    ask.add_argument("--keep", type=Path)
    given = ask.parse_args()
    without, with_it, gone = [], [], []
    for seed in given.seeds:
        folder = Path(tempfile.mkdtemp()) if given.keep is None else given.keep / str(seed)
        folder.mkdir(parents=True, exist_ok=True)
        mill, truth = made(seed, folder)
        truth.write_parquet(folder / "truth_of_calendar.parquet")
        known = calendar(truth)
        before = searched(mill, truth)
        path = folder / "calendar.csv"
        known.write_csv(path)
        keep_calendar(mill, path)
        after = searched(mill, truth)
        print(f"mill {seed}: {known.height} notes")
        print(told("  without the calendar", [before.card], before.surprises))
        print(told("  with it", [after.card], after.surprises), flush=True)
        gone += [f"mill {seed}: {loss}" for loss in hidden(before.card, after.card)]
        without.append(before)
        with_it.append(after)
        if given.keep is None:
            shutil.rmtree(folder)
    print(told("all, without", [s.card for s in without], sum(s.surprises for s in without)))
    print(told("all, with it", [s.card for s in with_it], sum(s.surprises for s in with_it)))
    print("planted losses hidden by it: " + ("; ".join(gone) or "none"))


if __name__ == "__main__":
    main()
