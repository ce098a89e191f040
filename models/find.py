"""The whole search: derived minutes and laboratory results in, ranked findings out."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from features.station import Station
from models.candidates import Candidate, find_candidates
from models.causes import Context, Verdict, fact, judge
from models.channels import loss_channels, stop_runs
from models.drivers import Excess, split_excess
from models.lab import Balance, LabPoints, lab_points, lab_series, reducing_sugar_balance
from models.microbial import MicrobialSpan, find_microbial
from models.minutes import Minutes, to_minutes
from models.notices import find_notices
from models.probes import ProbeBias, probe_biases
from models.rank import Amount, confidence_of, interval_of
from models.reconcile import Multiplier, fit_multiplier
from models.series import Array
from models.settings import Settings

FINDING_SCHEMA = {
    "section": pl.String,
    "started": pl.Datetime("us", "UTC"),
    "ended": pl.Datetime("us", "UTC"),
    "cause": pl.String,
    "lost_t": pl.Float64,
    "lost_t_low": pl.Float64,
    "lost_t_high": pl.Float64,
    "lost_pct": pl.Float64,
    "confidence": pl.Float64,
    "rank": pl.Int64,
    "open": pl.Boolean,
    "evidence": pl.String,
}


@dataclass(frozen=True)
class Losses:
    """Everything the search says.

    Attributes
    ----------
    findings : DataFrame
        Columns of ``FINDING_SCHEMA``, best first.
    notices : DataFrame
        Columns started, ended, kind, text: odd, but no loss.
    minutes : DataFrame
        ts_utc, loss_kg_h, unavoidable_kg_h, excess_kg_h (multiplier and corrected pH applied),
        ph_limed_true, ph_clear_true.
    multiplier : Multiplier
    """

    findings: pl.DataFrame
    notices: pl.DataFrame
    minutes: pl.DataFrame
    multiplier: Multiplier


def find_losses(
    station_minutes: pl.DataFrame,
    zone_minutes: pl.DataFrame,
    lab: pl.DataFrame,
    station: Station,
    settings: Settings,
) -> Losses:
    """Search derived minutes for periods of hidden sucrose loss.

    Parameters
    ----------
    station_minutes, zone_minutes : DataFrame
        As ``features.derive`` makes them: every minute once, in order.
    lab : DataFrame
        Laboratory results: ts_utc, analyte, place, port, value, sd.
    station : Station
    settings : Settings

    Returns
    -------
    Losses

    Raises
    ------
    ValueError
        If the minutes have holes.
    """
    minutes = to_minutes(station_minutes, zone_minutes)
    points = lab_points(station)
    biases, lab_shift = _probe_truth(minutes, lab, points)
    zero = np.zeros(minutes.n)
    limed = biases["limed"].bias if "limed" in biases else zero
    clear = biases["clear"].bias if "clear" in biases else zero
    balance = reducing_sugar_balance(lab, minutes, points)
    multiplier = _fit(minutes, balance, limed, clear, station)
    excess = split_excess(minutes, limed, clear)
    channels = loss_channels(minutes, excess, station, multiplier.value)
    reference = multiplier.value * float(np.nanmedian(_sum(excess.reference_kg_h)))
    candidates = find_candidates(minutes, channels, settings, reference)
    microbial = find_microbial(minutes, lab, station)
    context = Context(minutes, station, biases, _quiet(minutes, candidates))
    rows = [_row(c, context, excess, multiplier) for c in candidates]
    rows += [_microbial_row(m, minutes) for m in microbial]
    notices = find_notices(minutes, lab, points, lab_shift, station)
    return Losses(_ranked(rows), notices, _series(minutes, excess, multiplier, biases), multiplier)


def _probe_truth(
    minutes: Minutes, lab: pl.DataFrame, points: LabPoints
) -> tuple[dict[str, ProbeBias], Array]:
    readings = {
        "mixed": minutes.station["ph_mixed"],
        "limed": minutes.station["ph_limed"],
        "clear": minutes.station["ph_clear"],
    }
    where = {"mixed": points.mixed, "limed": points.limed, "clear": points.clear}
    series = {name: lab_series(lab, minutes, "ph", point) for name, point in where.items()}
    grabs = {n: (s.times_h, s.values, s.sd) for n, s in series.items() if len(s)}
    return probe_biases(minutes.hours, readings, grabs, ~minutes.stopped)


def _fit(
    minutes: Minutes, balance: Balance, limed: Array, clear: Array, station: Station
) -> Multiplier:
    at = balance.minute
    predicted = minutes.station["inverted_pred_pct"][at] * 10.0 ** (0.5 * (limed[at] + clear[at]))
    prior = station.kinetics
    return fit_multiplier(
        predicted, balance.seen_pct, balance.sd_pct, prior.multiplier, prior.multiplier_log_sd
    )


def _sum(parts: dict[str, Array]) -> Array:
    return np.asarray(np.nansum(np.stack(list(parts.values())), axis=0))


def _quiet(
    minutes: Minutes, candidates: list[Candidate]
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    quiet = ~minutes.stopped
    for item in candidates:
        quiet[item.span.start : item.span.end] = False
    for start, end in stop_runs(minutes):
        quiet[max(start - 30, 0) : end + 180] = False
    return quiet


def _row(
    item: Candidate, context: Context, excess: Excess, multiplier: Multiplier
) -> dict[str, object]:
    minutes, span = context.minutes, item.span
    verdict = judge(item, context)
    amount = interval_of(item, excess, context.biases, multiplier)
    total = multiplier.value * _sum(excess.loss_kg_h)
    shares = _driver_shares(excess, span.start, span.end)
    fed = float(np.nansum(minutes.station["sucrose_feed_kg_h"][span.start : span.end])) / 60.0
    facts = [*verdict.facts, _loss_fact(total, context, span.start, span.end)]
    return _finding(
        minutes,
        (span.start, span.end),
        item.channel.section,
        verdict,
        amount,
        fed,
        confidence_of(span.z, verdict, amount),
        {"facts": facts, "shares": shares},
    )


def _loss_fact(total: Array, context: Context, start: int, end: int) -> dict[str, object]:
    usual = float(np.nanmedian(total[context.quiet])) if context.quiet.any() else float("nan")
    now = float(np.nanmean(total[start:end]))
    return fact(f"sucrose inverted per hour, usually {usual:.0f} kg/h, now", now, "kg/h")


def _driver_shares(excess: Excess, start: int, end: int) -> dict[str, float]:
    kg: dict[str, float] = {}
    for (_, driver), value in excess.by_driver.items():
        kg[driver] = kg.get(driver, 0.0) + float(np.nansum(value[start:end]))
    size = sum(abs(v) for v in kg.values()) or 1.0
    return {name: round(value / size, 3) for name, value in kg.items()}


def _microbial_row(span: MicrobialSpan, minutes: Minutes) -> dict[str, object]:
    # Sucrose per lactic acid is known to about 40 % (stoichiometry 0.95-1.9, trade factors higher).
    sd = math.hypot(0.4, span.kg_sd / max(span.kg, 1e-9))
    amount = Amount.lognormal(span.kg, sd)
    facts = [
        fact("tank temperature", span.temp_degc, "degC"),
        fact("lactic acid made in the tank, above its usual", span.lactic_rise_mg_kg, "mg/kg"),
        fact("laboratory samples that show it", span.samples, ""),
    ]
    verdict = Verdict("microbial", {"microbial": 0.9, "unexplained": 0.1}, facts)
    fed = float(np.nansum(minutes.station["sucrose_feed_kg_h"][span.start : span.end])) / 60.0
    return _finding(
        minutes,
        (span.start, span.end),
        span.zone,
        verdict,
        amount,
        fed,
        confidence_of(span.z, verdict, amount),
        {"facts": facts, "shares": {"microbes": 1.0}},
    )


def _finding(
    minutes: Minutes,
    bounds: tuple[int, int],
    section: str,
    verdict: Verdict,
    amount: Amount,
    fed_kg: float,
    confidence: float,
    evidence: dict[str, object],
) -> dict[str, object]:
    others = {c: w for c, w in verdict.weights.items() if c != verdict.cause and w >= 0.05}
    evidence["alternatives"] = [
        {"cause": c, "weight": round(w, 2)} for c, w in sorted(others.items(), key=lambda x: -x[1])
    ]
    return {
        "section": section,
        "started": minutes.at(bounds[0]),
        "ended": minutes.at(bounds[1]),
        "cause": verdict.cause,
        "lost_t": amount.mid_kg / 1000.0,
        "lost_t_low": amount.low_kg / 1000.0,
        "lost_t_high": amount.high_kg / 1000.0,
        "lost_pct": 100.0 * amount.mid_kg / fed_kg if fed_kg > amount.mid_kg else None,
        "confidence": confidence,
        "rank": 0,
        "open": bounds[1] >= minutes.n - 15,
        "evidence": json.dumps(evidence, sort_keys=True, allow_nan=False, default=float),
    }


def _ranked(rows: list[dict[str, object]]) -> pl.DataFrame:
    """Best first: tonnes times confidence; ties by time."""
    frame = pl.DataFrame(rows, schema=FINDING_SCHEMA)
    worth = pl.col("lost_t") * pl.col("confidence")
    ordered = frame.sort(worth, pl.col("started"), descending=[True, False], maintain_order=True)
    return ordered.with_columns(rank=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))


def _series(
    minutes: Minutes, excess: Excess, multiplier: Multiplier, biases: dict[str, ProbeBias]
) -> pl.DataFrame:
    """What the reports draw: loss, unavoidable and excess by minute, pH put right."""
    loss = multiplier.value * _sum(excess.loss_kg_h)
    unavoidable = multiplier.value * _sum(excess.reference_kg_h)
    columns = {
        "loss_kg_h": loss,
        "unavoidable_kg_h": unavoidable,
        "excess_kg_h": loss - unavoidable,
    }
    for point in ("limed", "clear"):
        reading = minutes.station[f"ph_{point}"]
        columns[f"ph_{point}_true"] = reading - (biases[point].bias if point in biases else 0.0)
    times = pl.datetime_range(minutes.start_utc, minutes.at(minutes.n - 1), "1m", eager=True).alias(
        "ts_utc"
    )
    frame = pl.DataFrame([times.cast(pl.Datetime("us", "UTC"))]).with_columns(
        [pl.Series(name, values) for name, values in columns.items()]
    )
    return frame.with_columns(pl.col(list(columns)).fill_nan(None))
