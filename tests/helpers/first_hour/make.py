"""Writing the exports of one mill, and what is true of them."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import import_module
from pathlib import Path

import numpy as np
import polars as pl

from first_hour.books import truths
from first_hour.laboratory import Habits, results
from first_hour.plant import Plant
from first_hour.points import COURSES
from first_hour.recorder import records
from first_hour.spec import Content, MillSpec, TagSpec, TagTruth, Truth
from first_hour.units import meaning

#: Mills to look at, and those that nobody looks at before the last run.
MILLS = tuple(range(1, 13))
HELD_OUT = (13, 14)
_MODULES = ("mills_english", "mills_spanish", "mills_portuguese", "mills_french", "mills_opaque",
            "mills_once_held_out")  # fmt: skip


@dataclass(frozen=True)
class Made:
    """Files of a mill, in the order of their making, and their truth."""

    spec: MillSpec
    files: tuple[Path, ...]
    truth: Truth

    @property
    def exports(self) -> tuple[Path, ...]:
        """Files that hold readings."""
        return tuple(f for f in self.files if self.truth.readings[f.name] is not None)


@lru_cache(maxsize=1)
def specs() -> dict[int, MillSpec]:
    """All mills but those held out, by number."""
    found = [s for name in _MODULES for s in import_module(f"first_hour.{name}").SPECS]
    return {spec.number: spec for spec in sorted(found, key=lambda s: s.number)}


def spec_of(number: int) -> MillSpec:
    """The mill of a number; a held-out one is read only when it is asked for."""
    if number in HELD_OUT:
        return {s.number: s for s in import_module("first_hour.held_out").SPECS}[number]
    return specs()[number]


def make_mill(number: int, folder: Path, days: int | None = None) -> Made:
    """Write all files of a mill into `folder`, which is emptied first."""
    spec = spec_of(number)
    return make(spec if days is None else replace(spec, days=days), folder)


def contents(spec: MillSpec) -> Content:
    """Records and determinations of a mill."""
    streams = np.random.default_rng(np.random.SeedSequence([spec.seed, 31])).spawn(3)
    plant = Plant(spec, streams[0])
    habits = Habits(0.04 if spec.repeats else 0.0, 0.012)
    found = results(plant, habits, streams[1])
    return Content(spec, records(plant), found, streams[2])


def make(spec: MillSpec, folder: Path) -> Made:
    """Write the files of a mill described by hand."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    content = contents(spec)
    written = spec.write(content, folder)
    readings = {w.path.name: w.readings for w in written}
    tags = {tag.name: tag_truth(tag, spec.tags) for tag in spec.tags}
    truth = Truth(tags, truths(spec.lab, pooled=spec.pooled), readings)
    return Made(spec, tuple(w.path for w in written), truth)


def tag_truth(tag: TagSpec, tags: tuple[TagSpec, ...]) -> TagTruth:
    """What one tag is."""
    held = {"regular": "any", "exception": "step", "lines": "linear"}[tag.recorder]
    unit = meaning(tag.unit)
    mode, _, kind = tag.kind.rpartition(":")
    if mode == "x":
        return TagTruth(unit, held, why="outside")
    if mode == "sp":
        first = next((t.name for t in tags if t.kind == kind), "")
        return TagTruth(unit, "step", why="set-point", of=first)
    if kind in ("lime", "floc") and held == "linear":
        # A dose is set, and so held; the ends of straight lines say otherwise.
        held = "any"
    point = COURSES[kind][1]
    first = next(t.name for t in tags if t.kind == kind) if mode == "2" else ""
    return TagTruth(unit, held, point, second_of=first)


def same_readings(a: pl.DataFrame, b: pl.DataFrame) -> bool:
    """Whether two tables of readings say the same, whatever their order."""
    keys = ["name", "ts_utc", "value"]
    return a.sort(keys).equals(b.sort(keys))
