"""Laboratory results as equations: what each says of the juice that was fed and of its inversion.

Reducing sugars per sucrose rise by what was inverted since the feed and fall by what was destroyed;
pol per Brix falls by what was inverted. Both are put as inverted sucrose [% of sucrose], so that a
sample reads: what the feed brought, plus what each vessel inverted, plus what the method is off by
at this point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Station
from models.amount import hours_since
from models.base import Array, Minutes
from models.level.results import Kind, columns_of, points_of, side_by_side
from models.level.ways import Ways

#: A composite is followed as so many parcels an hour.
_PARCELS_AN_HOUR: Final = 2
#: Samples of a point this long after spoilt juice left it still hold some of it [h] (estimate).
_CLEARED_H: Final = 3.0
#: The way of one parcel is worked out to this share: pH, stay, temperature (estimate).
#: So juice that stood for hours, and would outweigh all others, counts for what it is worth.
_WAY_SHARE: Final = 0.25
#: Juice that stood has inverted many times the usual, by a stay and a temperature that nobody knows
#: well: samples beyond so many medians are left out, for they would outweigh all others.
_MOST_MEDIANS: Final = 4.0
#: What a method is off by at a point changes from day to day by this share of the result: analyst,
#: reagent, how long a sample stood (estimate, from hard simulated mills, seeds 320-338). Samples of
#: one day share it, so that many of them do not make it go away.
_DAY_SHARE: Final = 0.02
_POL_DAY_PCT: Final = 0.2


@dataclass(frozen=True)
class Samples:
    """All samples of one kind at one point; m samples of k parcels each.

    Attributes
    ----------
    kind : str
        ``rs`` or ``pol``.
    place : str
        Vessel behind which it was drawn, or ``mixed_juice``.
    step : int
        Step of that vessel in the train; -1 for the feed.
    times_h : ndarray, shape (m,)
        When it was drawn, of a composite the middle of its gathering [h since the first minute].
    seen_pct, sd_pct : ndarray, shape (m,)
        Result as inverted sucrose and its random standard error [% of sucrose].
    weights : ndarray, shape (m, k)
        Share of each parcel; rows sum to 1.
    fed_h : ndarray, shape (m, k)
        When the parcel was fed [h].
    destroyed : ndarray, shape (m, k)
        Share of the reducing sugars destroyed on its way [-].
    inverted_pct : dict of str to ndarray, shape (m, k)
        Inverted in each zone at multiplier 1 [% of sucrose].
    """

    kind: Kind
    place: str
    step: int
    times_h: Array
    seen_pct: Array
    sd_pct: Array
    weights: Array
    fed_h: Array
    destroyed: Array
    inverted_pct: dict[str, Array]

    def __len__(self) -> int:
        return len(self.times_h)

    def of(self, kept: NDArray[np.bool_]) -> Samples:
        """Some of them."""
        return Samples(
            self.kind,
            self.place,
            self.step,
            self.times_h[kept],
            self.seen_pct[kept],
            self.sd_pct[kept],
            self.weights[kept],
            self.fed_h[kept],
            self.destroyed[kept],
            {zone: pct[kept] for zone, pct in self.inverted_pct.items()},
        )


#: A zone and the minutes in which microbes were at work in it: no kinetics explain what it makes.
Spoilt = tuple[str, int, int]


def samples_of(
    lab: pl.DataFrame, minutes: Minutes, station: Station, ways: Ways, spoilt: Sequence[Spoilt] = ()
) -> list[Samples]:
    """Every sample along the train that tells of inversion.

    Parameters
    ----------
    lab : DataFrame
        Laboratory results, ``period_h`` where some are of composites.
    minutes : Minutes
    station : Station
    ways : Ways
    spoilt : sequence of (str, int, int)
        Zone, first minute and the one after the last of microbial growth: samples behind it then
        are left out.

    Returns
    -------
    list of Samples
        In flow order, grabs before composites, reducing sugars before pol. Samples drawn while the
        station stood, and points without a tracer beside them, are left out.
    """
    steps = {v.name: v.step for v in station.vessels}
    usual = station.kinetics.multiplier
    found = []
    for step, place, port in points_of(lab, steps):
        for period_h, wide in side_by_side(lab, place, port):
            for kind in ("rs", "pol"):
                columns = columns_of(wide, kind, station, lab)
                if columns is None:
                    continue
                made = _followed(columns, kind, place, step, period_h, minutes, ways, usual)
                found.append(made.of(~_spoilt(made, steps, spoilt, period_h)))
    found = [samples.of(_ordinary(samples)) for samples in found]
    return [samples for samples in found if len(samples)]


def _followed(
    columns: pl.DataFrame,
    kind: Kind,
    place: str,
    step: int,
    period_h: float,
    minutes: Minutes,
    ways: Ways,
    multiplier: float,
) -> Samples:
    begun = hours_since(minutes, columns)
    parcels = max(round(_PARCELS_AN_HOUR * period_h), 1)
    drawn_h = begun[:, None] + (np.arange(parcels) + 0.5) * period_h / parcels
    at = np.floor(60.0 * drawn_h).astype(np.int64)
    inside = (at[:, 0] >= 0) & (at[:, -1] < minutes.n)
    at, drawn_h = at[inside], drawn_h[inside]
    fed = np.nan_to_num(minutes.station["sucrose_feed_kg_h"])[at] * ~minutes.stopped[at]
    # A grab of running juice counts though its feed was not measured.
    fed = fed if period_h else np.maximum(fed, 1e-6 * ~minutes.stopped[at])
    flowing = fed.sum(axis=1) > 0.0
    at, drawn_h, fed = at[flowing], drawn_h[flowing], fed[flowing]
    way = ways.back(ways.groups(step), at.ravel())
    shape, share = at.shape, fed / fed.sum(axis=1, keepdims=True)
    inverted = {zone: pct.reshape(shape) for zone, pct in way.inverted_pct.items()}
    lost = sum(((share * pct).sum(axis=1) for pct in inverted.values()), np.zeros(len(at)))
    sd = np.maximum(columns["sd_pct"].to_numpy()[inside][flowing], 1e-4)
    seen = columns["seen_pct"].to_numpy()[inside][flowing]
    times_h = drawn_h.mean(axis=1)
    return Samples(
        kind,
        place,
        step,
        times_h,
        seen,
        sample_sd(kind, times_h, seen, sd, multiplier * lost),
        share,
        way.fed_min.reshape(shape) / 60.0,
        way.destroyed.reshape(shape),
        inverted,
    )


def sample_sd(kind: Kind, times_h: Array, seen_pct: Array, sd_pct: Array, lost_pct: Array) -> Array:
    """Random standard error of samples [% of sucrose].

    Parameters
    ----------
    kind : str
    times_h : ndarray, shape (m,)
        When they were drawn [h].
    seen_pct, sd_pct : ndarray, shape (m,)
        Result, and the standard error of the analysis alone [% of sucrose].
    lost_pct : ndarray, shape (m,)
        About what was inverted on the way [% of sucrose].
    """
    day = (
        _DAY_SHARE * float(np.median(seen_pct)) if kind == "rs" and len(seen_pct) else _POL_DAY_PCT
    )
    return np.hypot(np.hypot(sd_pct, _WAY_SHARE * lost_pct), _of_day(times_h, day))


def _ordinary(samples: Samples) -> NDArray[np.bool_]:
    """Samples of juice that did not stand on its way."""
    lost = np.zeros(len(samples))
    for pct in samples.inverted_pct.values():
        lost = lost + (samples.weights * pct).sum(axis=1)
    return lost <= _MOST_MEDIANS * np.median(lost) if len(lost) else np.ones(0, dtype=bool)


def _of_day(times_h: Array, sd_pct: float) -> Array:
    """Share of each sample in an error that all samples of its day have in common.

    So many samples, each with this error of its own, tell as much as they do with it shared.
    """
    day = np.floor(times_h / 24.0).astype(np.int64)
    _, which, counts = np.unique(day, return_inverse=True, return_counts=True)
    return sd_pct * np.sqrt(counts[which].astype(float))


def _spoilt(
    samples: Samples, steps: dict[str, int], spoilt: Sequence[Spoilt], period_h: float
) -> NDArray[np.bool_]:
    bad = np.zeros(len(samples), dtype=bool)
    half = period_h / 2.0
    for zone, start, end in spoilt:
        if steps.get(zone, samples.step + 1) <= samples.step:
            bad |= (samples.times_h + half >= start / 60.0) & (
                samples.times_h - half <= end / 60.0 + _CLEARED_H
            )
    return bad
