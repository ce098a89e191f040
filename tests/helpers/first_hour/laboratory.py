"""What the laboratory of an invented mill finds: determinations as an analyst writes them."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from first_hour.plant import Plant, season
from first_hour.points import LAB_POINTS
from first_hour.spec import LabSpec, LabTruth, MillSpec

Floats = NDArray[np.float64]
#: Analysts and shifts are invented.
_DIGITS = {"ph": 2, "brix": 2, "pol": 2, "purity": 2, "rs": 3, "lactic": 0, "turbidity": 0,
           "dextran": 0, "colour": 0, "phosphate": 0}  # fmt: skip
_LESS_THAN = {"rs": "<0.05", "lactic": "<50", "dextran": "<50", "phosphate": "<5"}


@dataclass(frozen=True)
class Habits:
    """What a laboratory does besides measuring: share of repeats and of results without number."""

    repeats: float = 0.0
    odd: float = 0.01


class Bench:
    """True values of the juices of one mill, as far as the laboratory is concerned."""

    def __init__(self, plant: Plant) -> None:
        """Take the simulator's own laboratory as the course of each analyte."""
        self.plant = plant
        text = (
            season(plant.spec)
            .lab.with_columns(
                pl.col("result").cast(pl.Float64, strict=False),
                pl.col("sampled")
                .str.to_datetime("%Y-%m-%d %H:%M")
                .dt.replace_time_zone("America/Chicago", ambiguous="earliest")
                .dt.convert_time_zone("UTC"),
            )
            .drop_nulls()
        )
        at = (pl.col("sampled") - plant.spec.start).dt.total_seconds().alias("at")
        self._found = {
            str(k[0]).removeprefix("LAB "): f
            for k, f in text.with_columns(at).sort("at").group_by(["point_analyte"])
        }

    def _simulated(self, name: str, at: Floats) -> Floats:
        rows = self._found[name]
        return np.interp(at, rows["at"].to_numpy(), rows["result"].to_numpy())

    def value(self, spec: LabSpec, at: Floats, rng: np.random.Generator) -> Floats:
        """Values of one series at seconds from the start."""
        analyte = spec.analyte
        if analyte in ("ph", "brix", "pol"):
            return self._basic(spec.at, analyte, at) + rng.normal(0.0, 0.03, at.size)
        brix, pol = (self._basic(spec.at, name, at) for name in ("brix", "pol"))
        if analyte == "purity":
            return 100.0 * pol / brix + rng.normal(0.0, 0.15, at.size)
        if analyte == "rs":
            base = {"juice": 100.0, "solids": brix, "pol": pol}[spec.basis]
            return 100.0 * self._sugars(spec.at, brix, at) / base * rng.normal(1, 0.015, at.size)
        return self._other(spec, at) * np.exp(rng.normal(0.0, 0.06, at.size))

    def _basic(self, point: str, analyte: str, at: Floats) -> Floats:
        if point in ("MJ", "LJ", "CJ", "EJ"):
            return self._simulated(f"{point} {analyte}", at)
        mixed = self._simulated(f"MJ {analyte}", at)
        limed = self._simulated(f"LJ {analyte}", at)
        if analyte == "ph":
            return {"SY": 6.55, "FI": 7.1, "MU": 7.2, "CA": 7.0}[point] + 0.6 * (limed - 7.5)
        factor = {"SY": 4.35, "FI": 0.78, "MU": 0.8, "CA": 0.11}[point]
        if analyte == "pol" and point in ("FI", "MU"):
            factor *= 0.95
        return mixed * factor

    def _sugars(self, point: str, brix: Floats, at: Floats) -> Floats:
        source = point if point in ("MJ", "LJ", "CJ", "EJ") else "MJ"
        share = self._simulated(f"{source} rs", at) / self._simulated(f"{source} brix", at)
        return share * brix

    def _other(self, spec: LabSpec, at: Floats) -> Floats:
        point, analyte = spec.at, spec.analyte
        if analyte == "lactic":
            source = point if point in ("MJ", "LJ", "EJ") else "EJ"
            return self._simulated(f"{source} lactic", at)
        if analyte == "turbidity":
            steps = np.clip(at // 30, 0, self.plant.count - 1).astype(np.int64)
            return self.plant.course("cj_turb").value[steps]
        usual = {
            "dextran": {"MJ": 310.0, "CJ": 290.0, "SY": 420.0},
            "colour": {"MJ": 14500.0, "CJ": 11200.0, "SY": 12600.0},
            "phosphate": {"MJ": 290.0, "LJ": 300.0, "CJ": 22.0},
        }.get(analyte, {})
        size = usual.get(point, 50.0)
        return size * np.exp(0.1 * np.sin(at / 90_000.0))


def _sampled(spec: MillSpec, gap_h: float, rng: np.random.Generator) -> Floats:
    """Seconds from the start at which one point is sampled, on full five minutes."""
    count = int(spec.days * 24 / gap_h)
    at = (np.arange(count) * gap_h + rng.uniform(0.2, 0.6)) * 3600.0
    late = np.round(rng.normal(0.0, 480.0, count) / 300.0) * 300.0
    at = np.round((at + late) / 300.0) * 300.0
    inside = (at > 0) & (at < spec.days * 86_400 - 600) & (rng.random(count) > 0.03)
    return np.unique(at[inside])


def _days(spec: MillSpec) -> Floats:
    """Seconds from the start of six in the morning of each day, on the plant's clock."""
    first = spec.start + timedelta(hours=1)
    wall = pl.Series([first]).dt.convert_time_zone(spec.zone)[0]
    to_six = ((6 - wall.hour) % 24) * 3600 - wall.minute * 60
    at = 3600.0 + to_six + np.arange(spec.days) * 86_400.0
    return at[(at > 0) & (at < spec.days * 86_400)]


def results(plant: Plant, habits: Habits, rng: np.random.Generator) -> pl.DataFrame:
    """Determinations: time (UTC), series (its number), text, value, turn (1 for a repeat)."""
    spec, bench = plant.spec, Bench(plant)
    at_point: dict[str, list[int]] = defaultdict(list)
    for i, series in enumerate(spec.lab):
        at_point[series.point].append(i)
    frames = []
    for numbers in at_point.values():
        grabs = [spec.lab[i].hours for i in numbers if spec.lab[i].hours < 24]
        gap = min(grabs, default=24.0)
        at = _sampled(spec, gap, rng) if grabs else _days(spec)
        again = rng.random(at.size) < habits.repeats
        for i in numbers:
            every = max(round(spec.lab[i].hours / gap), 1)
            chosen = np.arange(at.size) % every == 0
            frames.append(_texts(bench, i, at[chosen], 0, habits.odd, rng))
            twice = at[chosen & again]
            if twice.size and spec.lab[i].analyte in ("ph", "brix", "pol"):
                frames.append(_texts(bench, i, twice, 1, 0.0, rng))
    when = (pl.lit(spec.start) + pl.duration(seconds="at")).dt.cast_time_unit("ms")
    return pl.concat(frames).select(when.alias("time"), pl.exclude("at")).sort("time", "series")


def _texts(
    bench: Bench, number: int, at: Floats, turn: int, odd: float, rng: np.random.Generator
) -> pl.DataFrame:
    spec = bench.plant.spec.lab[number]
    digits = _DIGITS.get(spec.analyte, 2)
    value = bench.value(spec, at, rng)
    texts = [f"{v:.{digits}f}" for v in value]
    numbers: list[float | None] = [float(text) for text in texts]
    for i in np.flatnonzero(rng.random(at.size) < odd):
        texts[i] = _LESS_THAN.get(spec.analyte, "n.d.") if i % 2 else "n.d."
        numbers[i] = None
    return pl.DataFrame(
        {"at": at.astype(np.int64), "series": number, "text": texts, "value": numbers,
         "turn": turn},
        schema_overrides={"value": pl.Float64, "text": pl.String},
    )  # fmt: skip


def plain(name: str) -> str:
    """A series' name without a unit in brackets, capitals and doubled blanks."""
    bare = re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", name)
    return " ".join(bare.split()).casefold()


def lab_truth(spec: LabSpec, *, pooled: bool) -> LabTruth:
    """What a series is; `pooled` books name it by point and heading, in either order."""
    place, port = LAB_POINTS[spec.at]
    both = (f"{spec.point} {spec.heading}", f"{spec.heading} {spec.point}")
    return LabTruth(
        names=tuple(plain(name) for name in (both if pooled else (spec.heading,))),
        analyte=spec.analyte,
        place=place,
        port=port,
        unit=spec.unit,
        basis=spec.basis,
        period_h=spec.hours if spec.hours >= 24 else 0.0,
    )
