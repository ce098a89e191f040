"""What each vessel lost each minute, and what drove it there: kept by the search for any question.

The search splits the loss for its channels and then lets go of the parts. An account of any period
needs them: kept by minute, vessel and driver, it is opened in no time, also while a night is
worked out, and rests on the very numbers that findings rest on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import MINUTE, Column, Columns, polars_schema
from models.amount import DRIVERS, Excess, ProbeBias, ph_standing_error
from models.base import Minutes
from models.detect import stop_runs
from models.level import Level

#: Driver of what stands: in a stop all of the loss over the targets.
STANDING = "standing"

#: Half the bytes of a double, and seven digits: more than any reading has.
_NUMBER = pl.Float32()


def _rate(description: str) -> Column:
    return Column(_NUMBER, "kg/h", description)


DRIVEN_COLUMNS: Columns = {
    "ts_utc": MINUTE,
    "zone": Column(pl.String(), "-", "Vessel, or mud of a settler.", nullable=False),
    "lost_kg_h": _rate("Sucrose inverted there, multiplier and pH put right."),
    "target_kg_h": _rate("The same at the targets."),
    "usual_kg_h": _rate("The same as the mill usually runs; in a stop as at the targets."),
    "measured": Column.flag("False where something was not measured and stands at usual."),
    "ph_sd": Column(_NUMBER, "pH", "Standing error of the corrected pH."),
    "level_log_sd": Column(_NUMBER, "-", "Log standard error of the level of the loss there."),
    **{
        name: _rate(f"Part of the loss above the usual that is due to {name}; null: not measured.")
        for name in (*DRIVERS, STANDING)
    },
}


@dataclass(frozen=True)
class Driven:
    """Loss of one search by vessel and driver.

    Attributes
    ----------
    minutes : Minutes
    excess : Excess
        At multiplier 1, stops put right.
    level : Level
    biases : dict of ProbeBias
    """

    minutes: Minutes
    excess: Excess
    level: Level
    biases: Mapping[str, ProbeBias]

    def by_day(self, days: Sequence[tuple[datetime, datetime]]) -> list[pl.DataFrame]:
        """Rows of several stretches of time, each as `between` gives them, worked out at once.

        Parameters
        ----------
        days : sequence of (datetime, datetime)
            In order.
        """
        whole = self.between(days[0][0], days[-1][1])
        if whole.is_empty():
            return [whole for _ in days]
        n = whole.height // len(self.minutes.zones)
        zones = [whole.slice(at, n) for at in range(0, whole.height, n)]
        times, found = zones[0]["ts_utc"], []
        for start, end in days:
            first, last = (int(times.search_sorted(moment)) for moment in (start, end))
            found.append(pl.concat([zone.slice(first, last - first) for zone in zones]))
        return found

    def between(self, start: datetime, end: datetime) -> pl.DataFrame:
        """Rows of a stretch of time.

        Parameters
        ----------
        start, end : datetime
            Whole minutes, end excluded; what lies outside the search is left out.

        Returns
        -------
        polars.DataFrame
            Columns of ``DRIVEN_COLUMNS``; one row a minute and vessel, vessel by vessel.
        """
        first = min(max(self.minutes.index_of(start), 0), self.minutes.n)
        last = min(max(self.minutes.index_of(end), first), self.minutes.n)
        if last == first:
            return pl.DataFrame(schema=polars_schema(DRIVEN_COLUMNS))
        window = slice(first, last)
        shared = self._shared(window)
        standing = self._standing[window]
        frames = [shared | self._zone(zone, window, standing) for zone in self.minutes.zones]
        schema = polars_schema(DRIVEN_COLUMNS)
        return pl.concat(
            [pl.DataFrame(columns, schema=schema, strict=False) for columns in frames]
        ).with_columns(pl.col(pl.Float32).fill_nan(None))

    @cached_property
    def _standing(self) -> NDArray[np.bool_]:
        """Minutes of stops, as the search takes them."""
        standing = np.zeros(self.minutes.n, dtype=bool)
        for start, end in stop_runs(self.minutes):
            standing[start:end] = True
        return standing

    def _shared(self, window: slice) -> dict[str, pl.Series | NDArray[Any]]:
        times = pl.datetime_range(
            self.minutes.at(window.start),
            self.minutes.at(window.stop),
            "1m",
            closed="left",
            eager=True,
            time_unit="us",
        )
        sds = [bias.sd[window] for bias in self.biases.values()]
        n = window.stop - window.start
        ph_sd = np.mean(sds, axis=0) if sds else np.full(n, ph_standing_error({}))
        return {"ts_utc": times, "ph_sd": ph_sd}

    def _zone(
        self, zone: str, window: slice, standing: NDArray[np.bool_]
    ) -> dict[str, pl.Series | NDArray[Any]]:
        level, excess = self.level.multiplier.value, self.excess
        lost, target = (
            np.nan_to_num(level * of[zone][window])
            for of in (excess.loss_kg_h, excess.reference_kg_h)
        )
        usual = np.nan_to_num(level * excess.usual_kg_h[zone][window])
        columns = self.minutes.zones[zone]
        lost_seen, target_seen = (columns[name][window] for name in ("loss_kg_h", "loss_ref_kg_h"))
        measured = np.isfinite(lost_seen) & np.isfinite(target_seen)
        parts: dict[str, pl.Series | NDArray[Any]] = {
            name: np.where(standing, np.nan, level * excess.by_driver[zone, name][window])
            for name in DRIVERS
            if (zone, name) in excess.by_driver
        }
        return parts | {
            "zone": pl.repeat(zone, len(lost), eager=True),
            "level_log_sd": self.level.log_sds({zone: 1.0}, window.start, window.stop),
            "lost_kg_h": lost,
            "target_kg_h": target,
            "usual_kg_h": np.where(standing, target, usual),
            "measured": measured,
            STANDING: np.where(standing, lost - target, np.nan),
        }
