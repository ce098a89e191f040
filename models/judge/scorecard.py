"""Marks for findings against planted events.

Rules, in words:

* **Truth** is counted per event (``models.simulator.season.planted_tonnes``): the sucrose destroyed
  from its start until the station has washed out after it, in the season with it, less that in
  the same season without this one event, scaled to the same sucrose fed. So a stop does not count
  cane that was never crushed, and everyday unrest, which both seasons share, drops out.
* Each finding belongs to the loss event with which it shares the most time, or to none. Where
  losses overlap it belongs to the one it names (``marks.owners``), and one finding that names two
  of them counts as two, its tonnes shared by what it says (``together.parted``). The truth of
  losses that overlap is their joint effect, shared so that it adds up.
* A loss event is **found** when its findings, taken together, and the event share at least half
  of the time that either of them covers (intersection over union of 0.5 or more), and **touched**
  when any finding shares any time with it.
* A finding is **false** when less than half of its own time lies in loss events and its
  intersection over union with every single loss event stays below 0.1. The share of false tonnes
  is the tonnes of false findings in all tonnes claimed.
* Lists of different length are compared **at the same rate of false findings**: only the findings
  count that stand, in order of rank, before more than half a false one a week.
* A look-alike is **claimed** when a finding that touches no loss event has at least half of its
  own time in the look-alike, or covers at least half of the look-alike. One inside a loss, such as
  a stop during a fault, could never be claimed and is not counted.
* Error of the tonnes, cover of the intervals and cause are judged on events found: tonnes and
  both ends of the interval are summed over an event's findings, the largest names the cause.
* The order is judged by ``marks_order.ndcg``, the wait by ``marks_nightly.first_listed``.

Several mills are pooled (``marks_card.pooled``) by putting their events together; the order is
the mean of the mills'.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

import numpy as np
import polars as pl

from features.base import polars_schema
from models.find import FINDING_COLUMNS
from models.judge.card import FALSE_PER_WEEK, Scorecard
from models.judge.marks import (
    FOUND_IOU,
    Spans,
    before_too_many_false,
    claimed,
    false_ones,
    owners,
    shared_h,
    to_spans,
    united_iou,
)
from models.judge.nightly import NightlyList, first_listed
from models.judge.order import ndcg
from models.judge.together import named_right, parted

_NEEDED = ("cause", "started", "ended", "lost_t", "lost_t_low", "lost_t_high")
#: Columns of a findings frame that the marks and the baselines share.
SCORED_SCHEMA = polars_schema(
    {name: FINDING_COLUMNS[name] for name in (*_NEEDED, "rank", "confidence")}
)
_TRUTH_NEEDED = ("event", "kind", "cause", "start_utc", "end_utc", "lost_t")
_TOGETHER = ("lost_t", "lost_t_low", "lost_t_high")
_MARK_SCHEMA = {
    "found": pl.Boolean,
    "found_early": pl.Boolean,
    "touched": pl.Boolean,
    "iou": pl.Float64,
    **dict.fromkeys(_TOGETHER, pl.Float64),
    "named": pl.String,
    "listed_d": pl.Float64,
    "found_d": pl.Float64,
    "timely": pl.Boolean,
    "found_timely": pl.Boolean,
}


def score(
    truth: pl.DataFrame,
    findings: pl.DataFrame,
    fed_weeks: float,
    nightly_lists: Sequence[NightlyList] = (),
) -> Scorecard:
    """Mark findings against the planted events of one mill.

    Parameters
    ----------
    truth : polars.DataFrame
        event, kind ("loss" or "confuser"), cause, start_utc, end_utc, lost_t [t].
    findings : polars.DataFrame
        cause, started, ended, lost_t, lost_t_low, lost_t_high [t]; in order of `rank` where they
        have one, else as they come. More columns do no harm; filter by confidence before.
    fed_weeks : float
        Length of the data searched [weeks], above 0.
    nightly_lists : sequence of Morning
        The list of every morning, in order; without it the waits are null.

    Returns
    -------
    Scorecard

    Raises
    ------
    ValueError
        When a column is missing or `fed_weeks` is not above 0.
    """
    _check(truth, _TRUTH_NEEDED, "truth")
    _check(findings, _NEEDED, "findings")
    if not fed_weeks > 0:
        raise ValueError(f"fed_weeks must be above 0, got {fed_weeks}; give the weeks searched")
    losses = truth.filter(pl.col("kind") == "loss").sort("start_utc")
    confusers = truth.filter(pl.col("kind") == "confuser")
    if "rank" in findings.columns:
        findings = findings.sort("rank", nulls_last=True, maintain_order=True)
    spans, events = to_spans(findings, "started", "ended"), to_spans(losses, "start_utc", "end_utc")
    alike = to_spans(confusers, "start_utc", "end_utc")
    alike = alike[shared_h(alike, events).sum(axis=1) == 0.0]
    wrong = false_ones(spans, events)
    tonnes = findings["lost_t"].fill_null(0.0).to_numpy()
    order = ndcg(spans, events, losses["lost_t"].to_numpy())
    return Scorecard(
        weeks=fed_weeks,
        findings=findings.height,
        false_findings=int(wrong.sum()),
        claimed_t=float(tonnes.sum()),
        false_t=float(tonnes[wrong].sum()),
        confusers=len(alike),
        confusers_claimed=claimed(spans, alike, events),
        orders=() if order is None else (order,),
        events=_event_rows(losses, findings, events, fed_weeks, nightly_lists),
    )


def _check(frame: pl.DataFrame, needed: tuple[str, ...], what: str) -> None:
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise ValueError(
            f"the {what} table lacks the columns {', '.join(missing)}; it needs {', '.join(needed)}"
        )


def _event_rows(
    losses: pl.DataFrame,
    findings: pl.DataFrame,
    events: Spans,
    weeks: float,
    nightly_lists: Sequence[NightlyList],
) -> pl.DataFrame:
    """One row a loss event, with its findings summed."""
    causes = losses["cause"].to_list()
    # What stands before too many false findings is read off the list as it was given.
    given = to_spans(findings, "started", "ended")
    early = before_too_many_false(given, events, FALSE_PER_WEEK * weeks)
    listed = findings.with_row_index("place").with_columns(pl.col("place").cast(pl.Int64))
    findings = parted(listed, events, causes)
    spans = to_spans(findings, "started", "ended")
    owner = owners(spans, events, named_right(findings, causes))
    touched = shared_h(spans, events).sum(axis=0) > 0
    waits = first_listed(nightly_lists, events, causes)
    rows: list[dict[str, object]] = []
    for i in range(losses.height):
        mine = np.flatnonzero(owner == i)
        own = findings[mine.tolist()]
        iou = united_iou(spans[mine], events[i : i + 1])
        largest = own.sort("lost_t", descending=True, nulls_last=True, maintain_order=True)
        row: dict[str, object] = {"found": iou >= FOUND_IOU, "touched": bool(touched[i])}
        first = spans[mine[own["place"].to_numpy() < early]]
        row |= {"found_early": united_iou(first, events[i : i + 1]) >= FOUND_IOU}
        row |= {"iou": iou, "named": largest["cause"][0] if mine.size else None}
        row |= {name: float(own[name].sum()) if mine.size else None for name in _TOGETHER}
        rows.append(row | (asdict(waits[i]) if nightly_lists else {}))
    kept = losses.select(
        "event", "cause", _shape_of(losses), "start_utc", "end_utc", planted_t=pl.col("lost_t")
    )
    return pl.concat([kept, pl.DataFrame(rows, schema=_MARK_SCHEMA)], how="horizontal")


def _shape_of(losses: pl.DataFrame) -> pl.Expr:
    """How each loss came: its company where it had any, else its shape; a step if none is told."""
    if "shape" not in losses.columns:
        return pl.lit("step").alias("shape")
    return pl.when(pl.col("kin") == "").then("shape").otherwise("kin").alias("shape")
