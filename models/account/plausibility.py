"""What a chemist would check a day's figures against before believing them.

Three figures of the station that the trade knows by heart, and one that says how much of an
undetermined loss the laboratory's own errors can make.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import polars as pl

from features.base import LN10, Station, grabs
from features.kinetics import Z90
from models.amount import lab_points, of_point

#: Common practice: inversion across clarification [% of the sucrose], usual and in a bad case; fall
#: of pH across the settler; reducing sugars destroyed near pH 7 and at pH 8, at some 97 degC [%/h].
USUAL_INVERSION_PCT: Final = (0.2, 0.3)
BAD_INVERSION_PCT: Final = 1.0
USUAL_PH_FALL: Final = 0.5
USUAL_DESTRUCTION_PCT_H: Final = (1.0, 3.0)

#: Vessels whose juice is on its way to clear juice; heating it on and boiling it down is not.
_CLARIFICATION: Final = ("liming_tank", "heater", "flash_tank", "settler", "clear_juice_tank")
#: Errors that days share besides the multiplier's, as `models.account.sums` has them (estimates).
_FORM_LOG_SD, _PH_SD = 0.2, 0.04
#: Fewer differences between samples than this tell no error of sampling.
_LEAST_DIFFERENCES: Final = 6


@dataclass(frozen=True, slots=True)
class Band:
    """Undetermined loss that errors alone can make, either way.

    Attributes
    ----------
    pct : float
        Half of the 90 % interval [% of the pol fed].
    t : float
        The same [t].
    before, after : int
        Samples with pol and Brix at either point.
    analysis_pct, sampling_pct : float
        Standard error of one sample by pol and refractometer, and by sampling [% of its pol];
        the second is 0 where too few samples tell it.
    """

    pct: float
    t: float
    before: int
    after: int
    analysis_pct: float
    sampling_pct: float


@dataclass(frozen=True, slots=True)
class Plausibility:
    """Figures of a period to set beside common practice; None where they cannot be known.

    Attributes
    ----------
    inverted_pct, inverted_low_pct, inverted_high_pct : float or None
        Inversion across clarification, and its 90 % interval [% of the sucrose fed].
    ph_limed, ph_clear : float or None
        Of the same juice before and after the settler, probes put right [-].
    destroyed_pct_h : float or None
        Reducing sugars destroyed in the settler [% of them per hour].
    ph_settler, temp_settler_degc : float or None
        Mean pH, cooled sample, and temperature there.
    band : Band or None
        Undetermined loss that errors alone make.
    """

    inverted_pct: float | None = None
    inverted_low_pct: float | None = None
    inverted_high_pct: float | None = None
    ph_limed: float | None = None
    ph_clear: float | None = None
    destroyed_pct_h: float | None = None
    ph_settler: float | None = None
    temp_settler_degc: float | None = None
    band: Band | None = None

    @property
    def ph_fall(self) -> float | None:
        """Fall of pH across the settler [-]."""
        if self.ph_limed is None or self.ph_clear is None:
            return None
        return self.ph_limed - self.ph_clear


def plausible_figures(
    minutes: pl.DataFrame, zones: pl.DataFrame, lab: pl.DataFrame, station: Station, log_sd: float
) -> Plausibility:
    """Work out the figures of a period.

    Parameters
    ----------
    minutes : polars.DataFrame
        A row a minute: sucrose_feed_kg_h, stopped, ph_limed, ph_clear, ph_limed_at_clear as
        derived; loss_kg_h, ph_limed_true, ph_clear_true as the search left them.
    zones : polars.DataFrame
        Of the same minutes: zone, loss_kg_h, rs_destroyed_kg_h, sucrose_held_kg, ph_cold,
        temp_degc.
    lab : polars.DataFrame
        Laboratory results of the period.
    station : Station
    log_sd : float
        Standard error of the logarithm of the kinetic multiplier.

    Returns
    -------
    Plausibility
    """
    if minutes.is_empty() or zones.is_empty():
        return Plausibility()
    fed_kg = float(minutes["sucrose_feed_kg_h"].sum() or 0.0) / 60.0
    return Plausibility(
        **_inverted(minutes, zones, station, fed_kg, log_sd),
        **_fall(minutes),
        **_destroyed(zones, station),
        band=undetermined_band(lab, station, fed_kg / 1000.0),
    )


def _inverted(
    minutes: pl.DataFrame, zones: pl.DataFrame, station: Station, fed_kg: float, log_sd: float
) -> dict[str, float]:
    """Loss of the station, put right, by the share of it that the zones of clarification have."""
    kinds = {v.name: v.kind for v in station.vessels}
    mine = [name for name, kind in kinds.items() if kind in _CLARIFICATION]
    by_zone = zones.group_by("zone").agg(pl.col("loss_kg_h").sum())
    vessel = pl.col("zone").str.split(":").list.first()
    whole = float(by_zone["loss_kg_h"].sum() or 0.0)
    part = float(by_zone.filter(vessel.is_in(mine))["loss_kg_h"].sum() or 0.0)
    lost_kg = float(minutes["loss_kg_h"].sum() or 0.0) / 60.0
    if fed_kg <= 0.0 or whole <= 0.0 or lost_kg <= 0.0:
        return {}
    pct = 100.0 * lost_kg * part / whole / fed_kg
    spread = math.exp(Z90 * math.hypot(log_sd, _FORM_LOG_SD, LN10 * _PH_SD))
    return {
        "inverted_pct": pct,
        "inverted_low_pct": pct / spread,
        "inverted_high_pct": pct * spread,
    }


def _fall(minutes: pl.DataFrame) -> dict[str, float]:
    """Mean pH of running hours, each probe less its own error."""
    running = minutes.filter(~pl.col("stopped").fill_null(value=True)).with_columns(
        before=pl.col("ph_limed_at_clear")
        - (pl.col("ph_limed") - pl.col("ph_limed_true")).fill_null(0.0)
    )
    both = running.drop_nulls(["before", "ph_clear_true"])
    if both.is_empty():
        return {}
    return {"ph_limed": _mean(both, "before"), "ph_clear": _mean(both, "ph_clear_true")}


def _destroyed(zones: pl.DataFrame, station: Station) -> dict[str, float]:
    names = [v.name for v in station.of_kind("settler")]
    known = ["rs_destroyed_kg_h", "sucrose_held_kg", "ph_cold", "temp_degc"]
    inside = zones.filter(pl.col("zone").is_in(names)).drop_nulls(known)
    held = float(inside["sucrose_held_kg"].sum() or 0.0)
    held_rs = held * station.kinetics.rs_per_sucrose_pct / 100.0
    if held_rs <= 0.0:
        return {}
    return {
        "destroyed_pct_h": 100.0 * float(inside["rs_destroyed_kg_h"].sum()) / held_rs,
        "ph_settler": _mean(inside, "ph_cold"),
        "temp_settler_degc": _mean(inside, "temp_degc"),
    }


def _mean(frame: pl.DataFrame, column: str) -> float:
    return float(frame.select(pl.col(column).mean()).item())


def undetermined_band(lab: pl.DataFrame, station: Station, fed_t: float) -> Band | None:
    """How much undetermined loss sampling, pol and refractometer alone can make.

    Parameters
    ----------
    lab : polars.DataFrame
        Laboratory results of the period.
    station : Station
    fed_t : float
        Sucrose fed in the period [t].

    Returns
    -------
    Band or None
        None where no sample with pol and Brix was taken both before and after the station.

    Notes
    -----
    Pol over Brix before against after; the means of both err by the errors of one sample over the
    root of their number. Sampling errs by what neighbouring samples differ by beyond the stated
    errors. A method that reads high or low all day is not in it, so the truth is no better.
    """
    points = lab_points(station)
    ends = [
        next((s for p in group if (s := _ratios(lab, p)) is not None), None)
        for group in ((points.mixed, points.limed), (points.tank, points.clear))
    ]
    if ends[0] is None or ends[1] is None or fed_t <= 0.0:
        return None
    before, after = ends[0], ends[1]
    analysis = math.sqrt((_stated(before) ** 2 + _stated(after) ** 2) / 2.0)
    sampling = _sampling(before, after, analysis)
    one = math.hypot(analysis, sampling)
    pct = Z90 * one * math.sqrt(1.0 / before.height + 1.0 / after.height)
    return Band(pct, pct / 100.0 * fed_t, before.height, after.height, analysis, sampling)


def _ratios(lab: pl.DataFrame, point: tuple[str, str] | None) -> pl.DataFrame | None:
    """Pol over Brix of the samples of a point that were analysed for both."""
    if point is None:
        return None
    pol, brix = (of_point(grabs(lab), analyte, point) for analyte in ("pol", "brix"))
    both = pol.join(brix.select("ts_utc", brix="value", brix_sd="sd"), on="ts_utc")
    both = both.filter((pl.col("value") > 0.0) & (pl.col("brix") > 0.0)).sort("ts_utc")
    return None if both.is_empty() else both


def _stated(samples: pl.DataFrame) -> float:
    """Standard error of one sample by pol and refractometer [% of its pol]."""
    pol, brix = pl.col("sd") / pl.col("value"), pl.col("brix_sd") / pl.col("brix")
    return 100.0 * float(samples.select((pol**2 + brix**2).mean().sqrt()).item() or 0.0)


def _sampling(before: pl.DataFrame, after: pl.DataFrame, analysis_pct: float) -> float:
    """Error of sampling [% of the pol]: what neighbours differ by beyond the stated errors."""
    steps = pl.concat(
        [
            s.select((pl.col("value") / pl.col("brix")).log().diff().drop_nulls())
            for s in (before, after)
        ]
    ).to_series()
    if len(steps) < _LEAST_DIFFERENCES:
        return 0.0
    # The median keeps one wild sample from passing for all of them; 0.6745 makes it a deviation.
    seen = 100.0 * float(steps.abs().median()) / 0.6745 / math.sqrt(2.0)  # type: ignore[arg-type]
    return math.sqrt(max(seen**2 - analysis_pct**2, 0.0))
