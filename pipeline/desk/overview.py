"""The view of several mills: loss for what was fed, worst open findings, data, health, level."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Any, Final

from models.account import multiplier_log_sd
from models.worth import rests_on_prior
from pipeline.base import LostpolError
from pipeline.care import examine
from pipeline.desk.address import season_of
from pipeline.desk.desk import Desk, waiting
from pipeline.desk.kept import Kept, Snapshot
from pipeline.desk.lost import total_lost
from pipeline.desk.season import finding_line
from pipeline.words import against_targets, clean, figure, moment_words, plain, said

_WORST: Final = 3
#: Health of a store is looked at anew after so long [s]: each look reads every stored file.
_HEALTH_S: Final = 300.0


@dataclass
class Health:
    """What was wrong with each store when it was last looked at."""

    held: dict[str, tuple[float, list[str]]]
    lock: threading.Lock

    def of(self, kept: Kept, clock_s: float) -> list[str]:
        """What is wrong or worth a look, in words; empty where all is well."""
        with self.lock:
            known = self.held.get(kept.mill.key)
            if known is None or clock_s - known[0] > _HEALTH_S:
                bad = [s for s in examine(kept.mill) if s.state == "wrong"]
                lines = [
                    said("{about}: {what}", about=s.about, what=clean(s.what, 200)) for s in bad
                ]
                known = self.held[kept.mill.key] = clock_s, lines
            return known[1]


HEALTH: Final = Health({}, threading.Lock())


def mills_view(desk: Desk) -> dict[str, Any]:
    """Everything that the overview shows, the mill that loses most for what it feeds first."""
    rows = [_row(key, kept) for key, kept in desk.kept.items()]
    return {"mills": sorted(rows, key=lambda row: -row["order"])}


def _row(key: str, kept: Kept) -> dict[str, Any]:
    mill = kept.mill
    bare: dict[str, Any] = {
        "key": key, "name": clean(mill.name), "link": f"/m/{key}/", "order": -1.0, "fault": "",
        "rate": "", "mass": "", "worst": [], "waits": 0, "last": "", "level": "",
        "fitted": False, "health": HEALTH.of(kept, time.monotonic()),
    }  # fmt: skip
    try:
        known = kept.now()
    except LostpolError as error:
        return bare | {
            "fault": said("{what} {next_step}", what=error.what, next_step=error.next_step)
        }
    return bare | _loss(known) | _state(known, kept)


def _loss(known: Snapshot) -> dict[str, Any]:
    """Loss above the unavoidable of the season, for 1,000 t of sucrose fed."""
    row = total_lost(known.hours, known.findings)
    if row is None or row["sucrose_fed_t"] <= 0.0:
        return {}
    fed = row["sucrose_fed_t"]
    bounds = (row[f"excess{side}_t"] for side in ("", "_low", "_high"))
    parts = [None if bound is None else 1000.0 * bound / fed for bound in bounds]
    return {
        "order": parts[0],
        "rate": against_targets(*parts),
        "mass": said(
            "{against_targets} of {fed} t fed",
            against_targets=against_targets(
                row["excess_t"], row["excess_low_t"], row["excess_high_t"]
            ),
            fed=plain(fed, 0),
        ),
    }


def _state(known: Snapshot, kept: Kept) -> dict[str, Any]:
    mill, run = kept.mill, known.run
    asked = waiting(known.findings)
    end = season_of(known).end
    own = multiplier_log_sd(run["multiplier_low"], run["multiplier_high"])
    prior = mill.station.kinetics.multiplier_log_sd
    return {
        "worst": [
            finding_line(row, mill, f"/m/{mill.key}") for row in asked.head(_WORST).to_dicts()
        ],
        "waits": asked.height,
        "last": moment_words(end, mill.tz),
        "level": said(
            "{multiplier} ({multiplier_low} to {multiplier_high}) times the published rate",
            multiplier=figure(run["multiplier"], ".2f"),
            multiplier_low=figure(run["multiplier_low"], ".2f"),
            multiplier_high=figure(run["multiplier_high"], ".2f"),
        ),
        "fitted": not rests_on_prior(run["multiplier_pairs"], own, prior),
        "pairs": run["multiplier_pairs"],
    }
