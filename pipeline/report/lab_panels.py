"""What the laboratory tells of microbes: lactic acid, and pol over Brix, by sampling point."""

from __future__ import annotations

from typing import Final

import polars as pl

from features.base import grabs
from pipeline.charts import BLUE, VERMILION, Dots, Panel
from pipeline.report.scope import Scope
from pipeline.report.view import vessel_kinds
from pipeline.words import said, section_words, stream_words

_SHAPES: Final = ("circle", "diamond", "square", "triangle-up")


def microbial_panels(scope: Scope) -> list[Panel]:
    """Panels of a loss to microbes."""
    return [lactic_panel(scope), purity_panel(scope)]


def lactic_panel(scope: Scope) -> Panel:
    """Lactic acid by the laboratory, a mark for each sampling point."""
    lab = _grabs(scope)
    title = said("Lactic acid, laboratory [mg/kg]")
    if lab is None:
        return Panel(title, ())
    found = lab.filter(pl.col("analyte") == "lactic").drop_nulls("value")
    return Panel(title, (), _dots(scope, found), from_zero=True)


def purity_panel(scope: Scope) -> Panel:
    """Pol over Brix by the laboratory: it falls where sucrose is eaten across a tank."""
    lab = _grabs(scope)
    title = said("Pol over Brix, laboratory [%]")
    if lab is None:
        return Panel(title, ())
    keys = ["ts_utc", "place"]
    pol, brix = (
        lab.filter(pl.col("analyte") == name)
        .drop_nulls("value")
        .select(*keys, name=pl.col("value"))
        for name in ("pol", "brix")
    )
    both = pol.join(brix, on=keys, suffix="_brix").filter(pl.col("name_brix") > 0.0)
    ratio = both.with_columns(value=100.0 * pl.col("name") / pl.col("name_brix"))
    return Panel(title, (), _dots(scope, ratio), least_span=1.0)


def _grabs(scope: Scope) -> pl.DataFrame | None:
    lab = scope.minutes(scope.view.lab)
    return None if lab is None or "analyte" not in lab.columns else grabs(lab)


def _dots(scope: Scope, found: pl.DataFrame) -> list[Dots]:
    """A mark for each sampling point; that of the vessel itself stands out."""
    kinds, dots = vessel_kinds(scope.view), []
    parts = found.sort("place", "ts_utc").partition_by("place", as_dict=True).items()
    for shape, ((place,), rows) in zip(_SHAPES, parts, strict=False):
        times = rows["ts_utc"].dt.epoch("ms").to_list()
        points = scope.local(list(zip(times, rows["value"].to_list(), strict=True)))
        own = str(place) == scope.section
        name = section_words(str(place), kinds) if own else stream_words(str(place), "out")
        dots.append(Dots(name, points, VERMILION if own else BLUE, shape))
    return dots
