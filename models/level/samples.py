"""Laboratory results as equations: what each says of the juice that was fed and of its inversion.

Reducing sugars per sucrose rise by what was inverted since the feed and fall by what was destroyed;
pol per Brix falls by what was inverted. Both are put as inverted sucrose [% of sucrose], so that a
sample reads: what the feed brought, plus what each vessel inverted, plus what the method is off by
at this point.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.balance import pol_lost_per_sucrose
from features.base import Station
from features.kinetics import INVERT_PER_SUCROSE
from models.amount import hours_since
from models.base import Array, Minutes
from models.level.ways import Ways

Kind = Literal["rs", "pol"]
#: What both ends of a comparison are set against, best first: dilution must not pass for loss.
_TRACERS: Final = ("brix", "potassium", "chloride")
#: Sides of a vessel whose juice goes on down the train, those first that tell most of it.
_SIDES: Final = {"out": 0, "": 1, "inside": 2, "in": 3}
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
    for step, place, port in _points(lab, steps):
        for period_h, wide in _wide(lab, place, port):
            for kind in ("rs", "pol"):
                columns = _columns(wide, kind, station, lab)
                if columns is None:
                    continue
                made = _followed(columns, kind, place, step, period_h, minutes, ways, usual)
                found.append(made.of(~_spoilt(made, steps, spoilt, period_h)))
    found = [samples.of(_ordinary(samples)) for samples in found]
    return [samples for samples in found if len(samples)]


def _points(lab: pl.DataFrame, steps: dict[str, int]) -> list[tuple[int, str, str]]:
    """Step, place and port of each point of the train that is sampled."""
    known = {**steps, "mixed_juice": -1}
    chosen = lab.filter(pl.col("analyte").is_in(["rs", "pol", "purity"]))
    ports: dict[str, list[str]] = {}
    for place, port in chosen.select("place", "port").unique(maintain_order=True).iter_rows():
        if place in known and port in _SIDES:
            ports.setdefault(place, []).append(port)
    return sorted((known[p], p, min(of, key=_SIDES.__getitem__)) for p, of in ports.items())


def _wide(lab: pl.DataFrame, place: str, port: str) -> Iterator[tuple[float, pl.DataFrame]]:
    """Results of a point side by side, by length of the period that they were gathered over."""
    here = lab.filter(
        (pl.col("place") == place) & (pl.col("port") == port) & pl.col("value").is_not_null()
    )
    period = pl.col("period_h") if "period_h" in here.columns else pl.lit(0.0)
    here = here.with_columns(period_h=period.fill_null(0.0))
    for key, part in here.partition_by("period_h", as_dict=True, maintain_order=True).items():
        values = part.pivot("analyte", index="ts_utc", values="value", aggregate_function="first")
        errors = part.group_by("analyte").agg((pl.col("sd") / pl.col("value").abs()).median())
        relative = dict(errors.iter_rows())
        yield (
            float(str(key[0])),
            values.sort("ts_utc").with_columns(
                [pl.lit(float(sd or 0.0)).alias(f"sd {name}") for name, sd in relative.items()]
            ),
        )


def _columns(
    wide: pl.DataFrame, kind: Kind, station: Station, lab: pl.DataFrame
) -> pl.DataFrame | None:
    """ts_utc, seen_pct and sd_pct of one kind; None where it was not analysed."""
    if kind == "rs":
        made = _rs(wide, station, lab)
    elif {"pol", "brix"} <= {*wide.columns}:
        made = _pol(wide, pl.col("pol") / pl.col("brix"), _joint(wide, "pol", "brix"))
    elif "purity" in wide.columns:
        made = _pol(wide, pl.col("purity") / 100.0, float(wide["sd purity"][0]))
    else:
        return None
    return None if made is None else made.drop_nulls().filter(pl.col("seen_pct").is_finite())


def _rs(wide: pl.DataFrame, station: Station, lab: pl.DataFrame) -> pl.DataFrame | None:
    tracer = next((name for name in _TRACERS if name in wide.columns), None)
    if "rs" not in wide.columns or tracer is None:
        return None
    scale = 100.0 * _per_pol(lab, tracer, station) / INVERT_PER_SUCROSE
    seen = scale * pl.col("rs") / pl.col(tracer)
    sd = _joint(wide, "rs", tracer)
    return wide.select("ts_utc", seen_pct=seen, sd_pct=seen * sd)


def _pol(wide: pl.DataFrame, ratio: pl.Expr, sd: float) -> pl.DataFrame:
    # Less pol is more inversion: the sign makes both kinds rise with it.
    scale = 100.0 / float(pol_lost_per_sucrose())
    usual = wide.select(ratio.median()).item()
    seen = scale * (1.0 - ratio / (usual if usual else 1.0))
    return wide.select("ts_utc", seen_pct=seen, sd_pct=pl.lit(scale * sd))


def _joint(wide: pl.DataFrame, *names: str) -> float:
    return float(np.hypot.reduce([float(wide[f"sd {name}"][0]) for name in names]))


def _per_pol(lab: pl.DataFrame, tracer: str, station: Station) -> float:
    """A tracer's usual content over that of pol, by all samples that have both [-]."""
    both = lab.filter(pl.col("analyte").is_in([tracer, "pol"]), pl.col("value") > 0.0)
    index = ["ts_utc", "place", "port"]
    wide = both.pivot("analyte", index=index, values="value", aggregate_function="first")
    if {tracer, "pol"} <= {*wide.columns}:
        ratio = wide.select((pl.col(tracer) / pl.col("pol")).median()).item()
        if ratio:
            return float(ratio)
    if tracer == "brix":
        return 100.0 / station.targets.purity_pct
    usual = both.filter(pl.col("analyte") == tracer)["value"].median()
    pol = station.targets.brix_pct * station.targets.purity_pct / 100.0
    return float(str(usual)) / pol if usual is not None else 1.0


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
    day = _DAY_SHARE * float(np.median(seen)) if kind == "rs" and len(seen) else _POL_DAY_PCT
    return Samples(
        kind,
        place,
        step,
        drawn_h.mean(axis=1),
        seen,
        np.hypot(np.hypot(sd, _WAY_SHARE * multiplier * lost), _of_day(drawn_h.mean(axis=1), day)),
        share,
        way.fed_min.reshape(shape) / 60.0,
        way.destroyed.reshape(shape),
        inverted,
    )


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
