"""A tank and the laboratory's points about it, and evidence as a series: sucrose eaten [%]."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Analyte, Station, Vessel
from models.base import Array, Minutes

#: Lactic acid, one charge a molecule [kg/kmol] (computed from the formula).
LACTIC_KG_KMOL = 90.08
#: The buffer of juice differs from the described one by about this [-] (judgement).
BUFFER_LOG_SD = 0.3

Point = tuple[str, str]


@dataclass(frozen=True)
class Line:
    """One kind of evidence, on the clock of the tank: moved back by the time the juice took.

    Attributes
    ----------
    name : str
        ``lactic``, ``lime``, ``pol``, ``ph`` or ``dextran``.
    hours, pct, sd : ndarray, shape (m,)
        Time at which the juice left the tank [h], rising; sucrose eaten above an unknown level
        [% of sucrose]; stated standard error. No NaN.
    on_acid : bool
        True where acid was seen, and sucrose follows by the described sucrose per acid.
    scale_log_sd : float
        Error of the scale, beside that of sucrose per acid [-].
    by_temp : ndarray, shape (m,)
        What one standard error of its answer to the tank's temperature does to each point [% of
        sucrose]: a cool tank is cool from its first minute, growth takes hours.
    """

    name: str
    hours: Array
    pct: Array
    sd: Array
    on_acid: bool
    scale_log_sd: float
    by_temp: Array


@dataclass(frozen=True)
class Tank:
    """A tank of a station, with its minutes and the laboratory's results."""

    minutes: Minutes
    lab: pl.DataFrame
    station: Station
    vessel: Vessel

    @property
    def sucrose_kg_kg(self) -> float:
        """Sucrose in the juice fed, a season's median [kg/kg]."""
        usual = []
        for name, target in (
            ("brix_feed_pct", self.station.targets.brix_pct),
            ("purity_feed_pct", self.station.targets.purity_pct),
        ):
            values = self.minutes.station[name]
            usual.append(float(np.nanmedian(values)) if np.isfinite(values).any() else target)
        return usual[0] * usual[1] / 1e4

    @property
    def acid_mg_kg_per_pct(self) -> float:
        """Lactic acid made for each per cent of the sucrose eaten [mg/kg juice]."""
        return 1e4 * self.sucrose_kg_kg / self.station.kinetics.sucrose_per_lactic_kg_kg

    @property
    def pct_per_ph(self) -> float:
        """Sucrose eaten where the acid made would lower the pH by one [% of sucrose]."""
        acid_mg_kg = self.station.kinetics.buffer_meq_kg_ph * LACTIC_KG_KMOL
        return acid_mg_kg / self.acid_mg_kg_per_pct

    def points(self, analyte: Analyte) -> tuple[Point | None, list[Point]]:
        """Sampling points of grabs before the tank (the nearest) and after it (all)."""
        steps = {v.name: v.step for v in self.station.vessels}
        of = {
            (s.place, s.port)
            for s in self.station.lab
            if (s.analyte, s.period_h) == (analyte, 0.0) and s.port != "mud"
        }
        here = {p for p in of if p[0] == self.vessel.name}
        inlet = {p for p in here if p[1] == "in"}
        known = {p for p in of if p[0] in steps}
        upstream = {p for p in known if steps[p[0]] < self.vessel.step} | inlet
        upstream |= {p for p in of if p[0] == "mixed_juice"}
        after = {p for p in known if steps[p[0]] > self.vessel.step} | (here - inlet)
        before = max(upstream, key=lambda p: (steps.get(p[0], -1), p), default=None)
        return before, sorted(after, key=lambda p: (steps[p[0]], p))

    def delay_h(self, place: str) -> float:
        """Usual time from the tank's outlet to a place, vessels side by side averaged [h]."""
        steps = {v.name: v.step for v in self.station.vessels}
        total = 0.0
        for group in self.station.in_flow_order:
            if self.vessel.step < group[0].step <= steps[place]:
                columns = [
                    self.minutes.zones[v.name]["residence_min"]
                    for v in group
                    if v.name in self.minutes.zones
                ]
                stays = [float(np.nanmedian(c)) for c in columns if np.isfinite(c).any()]
                total += float(np.mean(stays)) / 60.0 if stays else 0.0
        return total
