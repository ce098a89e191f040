"""Rows of the findings table, and the order in which they deserve attention."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from features.base import Column, Columns, polars_schema
from models.account import account_of, microbial_account
from models.amount import Excess
from models.base import MINUTES_PER_BLOCK, Array, Minutes, nan_sum
from models.cause import (
    LabCheck,
    NamedCause,
    extrapolation_facts,
    fact,
    judge,
    zone_excess_kg,
)
from models.detect import Candidate, Context, MicrobialSpan, kind_of
from models.find.microbial_facts import microbial_facts, usual_degc
from models.find.rank import Amount, confidence_of, error_of
from models.level import Level
from models.search import OutlierScore

#: Quiet quarter-hours that look odd, by the way the score is made [%].
_ODD_QUIET_PCT: Final = 5.0

FINDING_COLUMNS: Columns = {
    "section": Column.text("Vessel with most of the loss, or train."),
    "started": Column.moment("First minute of the loss."),
    "ended": Column.moment("End of the loss (excluded)."),
    "cause": Column.text("Cause that the evidence names, or unexplained."),
    "lost_t": Column.number("t sucrose", "Lost beyond the unavoidable."),
    "lost_t_low": Column.number("t sucrose", "Lower end of the 90 % interval."),
    "lost_t_high": Column.number("t sucrose", "Upper end of the 90 % interval."),
    "lost_pct": Column.number("% of the sucrose fed meanwhile", "The same as a share."),
    "confidence": Column.number("0 to 1", "How sure the finding is."),
    "p_value": Column.number("0 to 1", "Chance of such an episode where nothing is lost."),
    "q_value": Column.number("0 to 1", "Share of false findings among all at least as sure."),
    "mark": Column.text("listed, or confident: sure enough for the strict list."),
    "rank": Column.count(
        "Place in the list, 1 is most worth acting on; it moves, finding_id stays."
    ),
    "open": Column.flag("True when it goes on to the end of data."),
    "evidence": Column.text("Facts, shares, alternatives and uncertainty, as JSON."),
}


@dataclass(frozen=True, eq=False)
class WholeLoss:
    """Sucrose inverted in the whole station, by minute and usually [kg/h]."""

    kg_h: Array
    usual_kg_h: float

    @classmethod
    def of(cls, excess: Excess, level: Level, context: Context) -> WholeLoss:
        """Worked out once for all candidates."""
        total = level.multiplier.value * nan_sum(excess.loss_kg_h)
        quiet = total[context.quiet]
        return cls(total, float(np.nanmedian(quiet)) if len(quiet) else float("nan"))


def candidate_row(
    item: Candidate,
    context: Context,
    excess: Excess,
    level: Level,
    outliers: OutlierScore,
    lab_check: LabCheck,
    whole: WholeLoss,
) -> dict[str, object]:
    """Row of a candidate: amount, cause, confidence, evidence."""
    minutes, span = context.minutes, item.span
    verdict = judge(item, context)
    multiplier = level.multiplier
    error = error_of(item, excess, context, level)
    amount = Amount.lognormal(item.kg, error.log_sd)
    shares = _driver_shares(excess, span.start, span.end)
    fed = float(np.nansum(minutes.station["sucrose_feed_kg_h"][span.start : span.end])) / 60.0
    facts = [*verdict.facts, _loss_fact(whole, span.start, span.end)]
    facts += extrapolation_facts(
        minutes, excess.loss_kg_h, item.channel.zones, (span.start, span.end)
    )
    facts += _outlier_fact(outliers, span.start, span.end)
    return _finding(
        minutes,
        (span.start, span.end),
        item.channel.section,
        verdict,
        amount,
        fed,
        confidence_of(span.z, verdict, amount),
        {
            "facts": facts,
            "shares": shares,
            "uncertainty": {c.name: round(c.size, 3) for c in error.contributions if c.size > 0.0},
            "account": account_of(item, minutes, excess, multiplier, error),
        }
        | _uncalibrated(item)
        | lab_check.evidence(
            (span.start, span.end),
            amount.mid_kg,
            zone_excess_kg(excess, item.channel.zones, span.start, span.end),
        ),
    )


def _uncalibrated(item: Candidate) -> dict[str, object]:
    """Evidence that how often chance alone does as much is not known; nothing where it is."""
    kind = kind_of(item.span)
    return {} if kind is None else {"uncalibrated": kind}


def _loss_fact(whole: WholeLoss, start: int, end: int) -> dict[str, object]:
    now = float(np.nanmean(whole.kg_h[start:end]))
    return fact("sucrose inverted in the whole station", now, "kg/h", usual=whole.usual_kg_h)


def _outlier_fact(outliers: OutlierScore, start: int, end: int) -> list[dict[str, object]]:
    width = MINUTES_PER_BLOCK
    share = outliers.share_below(start // width, max(end // width, start // width + 1))
    if not math.isfinite(share):
        return []
    text = "quarter-hours in which all signals together look odd"
    return [fact(text, 100.0 * share, "%", usual=_ODD_QUIET_PCT)]


def _driver_shares(excess: Excess, start: int, end: int) -> dict[str, float]:
    kg: dict[str, float] = {}
    for (_, driver), value in excess.by_driver.items():
        kg[driver] = kg.get(driver, 0.0) + float(np.nansum(value[start:end]))
    size = sum(abs(v) for v in kg.values()) or 1.0
    return {name: round(value / size, 3) for name, value in kg.items()}


def microbial_row(
    span: MicrobialSpan, minutes: Minutes, lab_check: LabCheck, yield_kg_kg: float
) -> dict[str, object]:
    """Row of a microbial spell; `yield_kg_kg` is the sucrose eaten per lactic acid made [kg/kg]."""
    amount = Amount.lognormal(span.kg, math.hypot(*span.log_sds.values()))
    facts = microbial_facts(span, usual_degc(minutes, span))
    sure = min(span.probability, 0.99)
    verdict = NamedCause("microbial", {"microbial": sure, "unexplained": 1.0 - sure}, facts)
    fed = float(np.nansum(minutes.station["sucrose_feed_kg_h"][span.start : span.end])) / 60.0
    return _finding(
        minutes,
        (span.start, span.end),
        span.zone,
        verdict,
        amount,
        fed,
        confidence_of(span.z, verdict, amount),
        {
            "facts": facts,
            "shares": {"microbes": 1.0},
            "account": microbial_account(span, yield_kg_kg, span.log_sds),
        }
        | lab_check.evidence((span.start, span.end), span.kg, {span.zone: span.kg}, microbes=True),
    )


def _finding(
    minutes: Minutes,
    bounds: tuple[int, int],
    section: str,
    verdict: NamedCause,
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
        "evidence": json.dumps(_without_nan(evidence), sort_keys=True, default=float),
    }


def _without_nan(item: object) -> object:
    """Evidence with null for every number that could not be worked out."""
    if isinstance(item, dict):
        return {key: _without_nan(value) for key, value in item.items()}
    if isinstance(item, list | tuple):
        return [_without_nan(value) for value in item]
    if isinstance(item, float | np.floating) and not math.isfinite(item):
        return None
    return item


def ranked(rows: list[dict[str, object]]) -> pl.DataFrame:
    """Best first: tonnes times confidence; ties by time."""
    frame = pl.DataFrame(rows, schema=polars_schema(FINDING_COLUMNS))
    worth = pl.col("lost_t") * pl.col("confidence")
    ordered = frame.sort(worth, pl.col("started"), descending=[True, False], maintain_order=True)
    return ordered.with_columns(rank=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
