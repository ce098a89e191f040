"""Laboratory results of one point side by side, put as inverted sucrose."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

import numpy as np
import polars as pl

from features.balance import pol_lost_per_sucrose
from features.base import Station
from features.kinetics import INVERT_PER_SUCROSE

Kind = Literal["rs", "pol"]
#: What both ends of a comparison are set against, best first: dilution must not pass for loss.
_TRACERS: Final = ("brix", "potassium", "chloride")
#: Sides of a vessel whose juice goes on down the train, those first that tell most of it.
_SIDES: Final = {"out": 0, "": 1, "inside": 2, "in": 3}


def points_of(lab: pl.DataFrame, steps: dict[str, int]) -> list[tuple[int, str, str]]:
    """Step, place and port of each point of the train that is sampled."""
    known = {**steps, "mixed_juice": -1}
    chosen = lab.filter(pl.col("analyte").is_in(["rs", "pol", "purity"]))
    ports: dict[str, list[str]] = {}
    for place, port in chosen.select("place", "port").unique(maintain_order=True).iter_rows():
        if place in known and port in _SIDES:
            ports.setdefault(place, []).append(port)
    return sorted((known[p], p, min(of, key=_SIDES.__getitem__)) for p, of in ports.items())


def side_by_side(lab: pl.DataFrame, place: str, port: str) -> Iterator[tuple[float, pl.DataFrame]]:
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


def columns_of(
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
