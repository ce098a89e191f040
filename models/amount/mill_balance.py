"""What the mill's ordinary daily balance would have seen of a loss.

The ordinary balance sets the mean of the juice samples before the station against the mean of
those after it, over a day or a shift, and looks for a departure from the usual. What it can see
follows from the scatter of the mill's own results and from how many there were.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.balance import pol_lost_per_sucrose
from features.base import Station, grabs
from features.kinetics import INVERT_PER_SUCROSE
from models.amount.composite_balance import Composites, Scale, composite_pairs, composite_points
from models.amount.lab import LabPoints, lab_series
from models.base import Array, Minutes, robust_sd

#: Normal deviate: a balance in which nothing happened stays below it in 95 of 100 cases.
Z95_ONE_SIDED = 1.6449
_MINUTES_A_DAY = 1440
_WORDS = {"rs": "reducing sugars", "pol": "pol"}


@dataclass(frozen=True)
class Samples:
    """Samples of one analyte per Brix at one point.

    Attributes
    ----------
    times_h : ndarray, shape (m,)
        Sampling times [h].
    sd_pct : float
        Standard error of one sample, as inverted sucrose [% of sucrose].
    """

    times_h: Array
    sd_pct: float

    def within(self, first_h: float, last_h: float) -> int:
        """Number of samples in a period."""
        return int(((self.times_h >= first_h) & (self.times_h < last_h)).sum())


@dataclass(frozen=True)
class Limit:
    """What the ordinary balance can see in a period.

    Attributes
    ----------
    tonnes : float
        Smallest loss that stands out [t sucrose], 95 % one-sided.
    analyte : str
        ``rs`` or ``pol``, whichever sees more.
    before, after : int
        Samples at either point.
    hours : float
        Hours that its composite samples were gathered over [h]; 0 for grabs.
    """

    tonnes: float
    analyte: str
    before: int
    after: int
    hours: float = 0.0


@dataclass(frozen=True)
class OrdinaryBalance:
    """The mill's own balance around the station.

    Attributes
    ----------
    zones : frozenset of str
        Zones between its two points.
    methods : dict of str to (Samples, Samples)
        Grabs before and after, by analyte.
    fed_kg : ndarray, shape (n + 1,)
        Running total of sucrose fed [kg].
    composites : dict of str to Composites
        Composites of the same hours before and after, by analyte.
    """

    zones: frozenset[str]
    methods: dict[str, tuple[Samples, Samples]]
    fed_kg: Array
    composites: dict[str, Composites] = field(default_factory=dict)

    def limit(
        self, start: int, end: int, analytes: tuple[str, ...] = ("rs", "pol")
    ) -> Limit | None:
        """Smallest loss it would see between two minutes; None without samples at both points.

        Notes
        -----
        A critical level: 95 % one-sided of what scatter alone shows (L. Currie, Anal. Chem. 40
        (1968) 586-593, memory). A loss of just this size is seen every second time. A composite
        sees it thinned by all the juice of its hours, whatever part of them the period is.
        """
        fed_t = float(self.fed_kg[end] - self.fed_kg[start]) / 1000.0
        limits = []
        for analyte in analytes:
            if analyte not in self.methods:
                continue
            before, after = self.methods[analyte]
            counts = before.within(start / 60, end / 60), after.within(start / 60, end / 60)
            if min(counts) > 0:
                sd = math.hypot(
                    before.sd_pct / math.sqrt(counts[0]), after.sd_pct / math.sqrt(counts[1])
                )
                limits.append(Limit(Z95_ONE_SIDED * sd / 100.0 * fed_t, analyte, *counts))
        limits += [
            limit
            for a in analytes
            if a in self.composites and (limit := self._by_composites(start, end, a)) is not None
        ]
        return min(limits, key=lambda x: x.tonnes, default=None)

    def _by_composites(self, start: int, end: int, analyte: str) -> Limit | None:
        pairs = self.composites[analyte]
        spans = pairs.spans(start, end)
        if not spans:
            return None
        fed_t = sum(float(self.fed_kg[b] - self.fed_kg[a]) for a, b in spans) / 1000.0
        sd, hours = pairs.sd_pct / math.sqrt(len(spans)), sum(b - a for a, b in spans) / 60.0
        tonnes = Z95_ONE_SIDED * sd / 100.0 * fed_t
        return Limit(tonnes, analyte, len(spans), len(spans), hours)

    def says(
        self, bounds: tuple[int, int], lost_kg: float, covered: float, *, microbes: bool = False
    ) -> str:
        """Say in a sentence whether it would have seen a finding.

        Parameters
        ----------
        bounds : tuple of int
            First minute of the finding and the one after its last.
        lost_kg : float
            Its loss [kg].
        covered : float
            Share of the loss between the two sampling points [-].
        microbes : bool
            True where sucrose was eaten: that leaves no reducing sugars behind, only pol falls.
        """
        if not self.methods and not self.composites:
            return (
                "Without laboratory results for reducing sugars or pol before and after the "
                "station there is no ordinary daily balance: it would not have seen this one."
            )
        analytes = ("pol",) if microbes else ("rs", "pol")
        limit, when = self.limit(*bounds, analytes), "this period"
        if limit is None:
            # Nobody samples a standing station; what stood in it is in the samples that follow.
            day_end = min(bounds[0] + _MINUTES_A_DAY, len(self.fed_kg) - 1)
            limit, when = self.limit(bounds[0], day_end, analytes), "the day that it began"
        if limit is None or limit.tonnes <= 0.0:
            return (
                "No samples that would show it were taken both before and after the station on "
                "this day: the ordinary daily balance would not have seen this one."
            )
        seen_t = covered * lost_kg / 1000.0
        verdict = "would" if seen_t > limit.tonnes else "would not"
        counts = f"{limit.before} samples before and {limit.after} after"
        if limit.hours:
            counts = f"composite samples: {limit.before} before and {limit.after} after"
        when = f"the {limit.hours:.0f} h of its composite samples" if limit.hours else when
        # What is told is what was compared: a part of the loss may lie outside its two points.
        text = (
            f"The ordinary daily balance, from before the station to behind it, sees losses above "
            f"{_tonnes(limit.tonnes)} t in {when}. Of this loss {_tonnes(seen_t)} t lie there: it "
            f"{verdict} have seen it (by {_WORDS[limit.analyte]}, {counts} the station)."
        )
        if covered < 0.5:
            text += " Most of this loss lies outside its two sampling points."
        return text


def ordinary_balance(
    lab: pl.DataFrame, minutes: Minutes, station: Station, points: LabPoints
) -> OrdinaryBalance:
    """The mill's own balance, between the outermost points that its laboratory samples.

    The scatter of a sample is its stated error, or what results differ by from one sample to the
    next where that is more: juice changes between samples, and nobody aligns them in time.
    """
    fed = np.nan_to_num(minutes.station["sucrose_feed_kg_h"]) / 60.0
    total = np.concatenate([[0.0], np.cumsum(fed)])
    before = _analysed(grabs(lab), (points.mixed, points.limed))
    after = _analysed(grabs(lab), (points.tank, points.clear))
    if before is None or after is None:
        before, after = composite_points(lab, station)
    if before is None or after is None:
        return OrdinaryBalance(frozenset(), {}, total)
    scale = _scales(lab, before)
    methods = {}
    for analyte, factor in scale.items():
        ends = [_samples(lab, minutes, analyte, point, factor) for point in (before, after)]
        if all(len(end.times_h) >= 3 for end in ends):
            methods[analyte] = (ends[0], ends[1])
    zones = frozenset(_zones(station, before, after))
    return OrdinaryBalance(
        zones, methods, total, composite_pairs(lab, minutes, (before, after), scale)
    )


def _scales(lab: pl.DataFrame, point: tuple[str, str]) -> Scale:
    """What a relative change of each analyte over Brix comes to, as inverted sucrose [%]."""
    scale = {"pol": 100.0 / float(pol_lost_per_sucrose())}
    at = (pl.col("place") == point[0]) & (pl.col("port") == point[1])
    here = lab.filter(at, pl.col("analyte").is_in(list(_WORDS)))
    here = here if grabs(here).is_empty() else grabs(here)
    rs, pol = (here.filter(pl.col("analyte") == a)["value"].drop_nulls() for a in ("rs", "pol"))
    if len(rs) and len(pol):
        # The median ratio turns a relative change of reducing sugars into inverted sucrose.
        scale["rs"] = 100.0 * float(np.median(rs)) / float(np.median(pol)) / INVERT_PER_SUCROSE
    return scale


def _analysed(
    lab: pl.DataFrame, points: tuple[tuple[str, str] | None, ...]
) -> tuple[str, str] | None:
    """First of the points with results for reducing sugars or pol."""
    chosen = lab.filter(pl.col("analyte").is_in(list(_WORDS)), pl.col("value").is_not_null())
    sampled = set(chosen.select("place", "port").unique().iter_rows())
    return next((p for p in points if p is not None and p in sampled), None)


def _samples(
    lab: pl.DataFrame, minutes: Minutes, analyte: str, point: tuple[str, str], factor: float
) -> Samples:
    """Samples of analyte over Brix at one point; `factor` turns a relative change to percent."""
    found = lab_series(lab, minutes, analyte, point)
    brix = lab_series(lab, minutes, "brix", point)
    ratio = found.values / brix.at(found.times_h)
    known: NDArray[np.bool_] = np.isfinite(ratio) & (ratio > 0)
    stated = math.hypot(found.relative_sd, brix.relative_sd)
    seen = robust_sd(np.diff(np.log(ratio[known]))) / math.sqrt(2.0)
    return Samples(found.times_h[known], factor * max(stated, np.nan_to_num(seen)))


def _zones(station: Station, before: tuple[str, str], after: tuple[str, str]) -> list[str]:
    step = {v.name: v.step for v in station.vessels}
    first, last = step.get(before[0], -1), step[after[0]]
    return [v.name for v in station.vessels if first < v.step <= last]


def _tonnes(value: float) -> str:
    return f"{value:.2f}" if value < 10 else f"{value:.0f}"
