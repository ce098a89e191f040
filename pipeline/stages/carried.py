"""What a season leaves known of the level of the kinetics for the one behind it.

Juice, cane and analyst may change between two seasons; vessels, meters and most of what makes one
mill's juice invert faster than another's do not. So the level that the laboratory told last season,
made less sure by what may have changed, is a better beginning than the description's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from features.base import Kinetics
from models.account import multiplier_log_sd
from pipeline.base import midnight
from pipeline.lake import SEARCHED, Lake
from pipeline.mill import Mill
from pipeline.stages.identity import short_hash
from pipeline.stages.search_windows import SearchWindow

#: A level differs so much from one season to the next [log] (estimate).
_BETWEEN_LOG_SD: Final = 0.25


@dataclass(frozen=True, slots=True)
class Carried:
    """Level of the season before, as a beginning for this one.

    Attributes
    ----------
    multiplier : float
    log_sd : float
        Standard error of its logarithm, the change between seasons in it [-].
    """

    multiplier: float
    log_sd: float

    def on(self, mill: Mill) -> Mill:
        """The mill with this level for its description's, where it is the surer one."""
        kinetics: Kinetics = mill.station.kinetics
        if self.log_sd >= kinetics.multiplier_log_sd:
            return mill
        told = replace(kinetics, multiplier=self.multiplier, multiplier_log_sd=self.log_sd)
        return replace(mill, station=replace(mill.station, kinetics=told))

    def stamped(self, stamp: str) -> str:
        """Stamp of a search that begins with it."""
        return short_hash([stamp, f"{self.multiplier:.12g}", f"{self.log_sd:.12g}"])


def carried_into(lake: Lake, search_window: SearchWindow) -> Carried | None:
    """Level that the laboratory told in the last season before; None where there is none.

    Parameters
    ----------
    lake : Lake
        That season has been searched.
    search_window : SearchWindow
    """
    begins = search_window.begins
    before = [day for day in lake.feature_days(SEARCHED) if begins is not None and day < begins]
    if begins is None or not before:
        return None
    row = lake.read_features(SEARCHED, before[-1], before[-1]).row(0, named=True)
    if row["sees_end"] > midnight(begins) or not row["multiplier_pairs"]:
        return None
    log_sd = multiplier_log_sd(row["multiplier_low"], row["multiplier_high"])
    return Carried(row["multiplier"], math.hypot(log_sd, _BETWEEN_LOG_SD))
