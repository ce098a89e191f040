"""Marks for findings against planted events.

Rules, in words:

* Each finding belongs to the loss event with which it shares the most time, or to none.
* A loss event is **found** when its findings, taken together, and the event share at least half
  of the time that either of them covers (intersection over union of 0.5 or more).
* A finding is **false** when less than half of its own time lies in loss events and its
  intersection over union with every single loss event stays below 0.1.
* A look-alike is **claimed** when a finding that touches no loss event has at least half of its
  own time in the look-alike, or covers at least half of the look-alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Spans = NDArray[np.float64]

FOUND_IOU = 0.5
FALSE_IOU = 0.1
FALSE_SHARE = 0.5

_UTC = pl.Datetime("us", "UTC")
#: Columns of a findings frame that the marks and the baselines share.
SCORED_SCHEMA = pl.Schema(
    {
        "cause": pl.String(),
        "started": _UTC,
        "ended": _UTC,
        "lost_t": pl.Float64(),
        "lost_t_low": pl.Float64(),
        "lost_t_high": pl.Float64(),
        "rank": pl.Int64(),
        "confidence": pl.Float64(),
    }
)
_NEEDED = ("cause", "started", "ended", "lost_t", "lost_t_low", "lost_t_high")
_TRUTH_NEEDED = ("event", "kind", "cause", "start_utc", "end_utc", "lost_t")


@dataclass(frozen=True, slots=True)
class Scorecard:
    """Marks of one set of findings.

    Attributes
    ----------
    loss_events, found_events : int
        Planted losses, and how many were found.
    planted_t, found_t : float
        Tonnes planted, and the planted tonnes of the events found [t].
    findings, false_findings : int
        Findings given, and false ones.
    false_per_week : float
        False findings a week.
    confusers, confusers_claimed : int
        Look-alikes planted, and those claimed as a loss.
    factor_error : float or None
        Median factor between summed and planted tonnes of found events (1 is perfect); null
        when nothing was found.
    coverage : float or None
        Share of found events whose summed interval holds the planted tonnes.
    cause_accuracy : float or None
        Share of found events whose largest finding names the right cause.
    events : polars.DataFrame
        One row a loss event: event, cause, start_utc, end_utc, planted_t, found, iou, lost_t,
        lost_t_low, lost_t_high, named.
    """

    loss_events: int
    found_events: int
    planted_t: float
    found_t: float
    findings: int
    false_findings: int
    false_per_week: float
    confusers: int
    confusers_claimed: int
    factor_error: float | None
    coverage: float | None
    cause_accuracy: float | None
    events: pl.DataFrame

    @property
    def tonnes_found_share(self) -> float:
        """Share of the planted tonnes whose event was found."""
        return self.found_t / self.planted_t if self.planted_t > 0 else 0.0


def _check(frame: pl.DataFrame, needed: tuple[str, ...], what: str) -> None:
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise ValueError(
            f"the {what} table lacks the columns {', '.join(missing)}; it needs {', '.join(needed)}"
        )


def _spans(frame: pl.DataFrame, start: str, end: str) -> Spans:
    """Start and end in hours, shape (n, 2)."""
    columns = [frame[c].cast(_UTC).dt.epoch("us").to_numpy() / 3.6e9 for c in (start, end)]
    return np.column_stack(columns).reshape(-1, 2).astype(np.float64)


def _shared(left: Spans, right: Spans) -> Floats:
    """Hours that every left span shares with every right span, shape (n_left, n_right)."""
    begin = np.maximum(left[:, None, 0], right[None, :, 0])
    end = np.minimum(left[:, None, 1], right[None, :, 1])
    return np.asarray(np.clip(end - begin, 0.0, None))


def _hours(spans: Spans) -> Floats:
    return np.asarray(spans[:, 1] - spans[:, 0])


def _merged(spans: Spans) -> Spans:
    """Union of spans as spans that do not overlap."""
    out: list[list[float]] = []
    for begin, end in spans[np.argsort(spans[:, 0], kind="stable")].tolist():
        if out and begin <= out[-1][1]:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([begin, end])
    return np.array(out, dtype=np.float64).reshape(-1, 2)


def _iou(union: Spans, event: Spans) -> float:
    """Intersection over union of spans without overlap and one event."""
    shared = float(_shared(union, event).sum())
    whole = float(_hours(union).sum() + _hours(event).sum()) - shared
    return shared / whole if whole > 0 else 0.0


def _false(findings: Spans, losses: Spans, shared: Floats) -> NDArray[np.bool_]:
    """Which findings are false."""
    hours = np.maximum(_hours(findings), 1e-9)
    inside = _shared(findings, _merged(losses)).sum(axis=1) / hours
    union = hours[:, None] + _hours(losses)[None, :] - shared
    best = (shared / union).max(axis=1, initial=0.0)
    return np.asarray((inside < FALSE_SHARE) & (best < FALSE_IOU))


def _claimed(findings: Spans, confusers: Spans, touches_loss: NDArray[np.bool_]) -> int:
    """How many look-alikes are claimed as a loss."""
    free = findings[~touches_loss]
    shared = _shared(free, confusers)
    of_finding = shared >= 0.5 * np.maximum(_hours(free), 1e-9)[:, None]
    of_confuser = shared >= 0.5 * _hours(confusers)[None, :]
    return int(((of_finding | of_confuser) & (shared > 0)).any(axis=0).sum())


def _event_rows(
    losses: pl.DataFrame, findings: pl.DataFrame, owner: NDArray[np.int64]
) -> pl.DataFrame:
    """One row a loss event, with its findings summed."""
    spans, events = _spans(findings, "started", "ended"), _spans(losses, "start_utc", "end_utc")
    rows: list[dict[str, object]] = []
    for i in range(losses.height):
        mine = np.flatnonzero(owner == i)
        own = findings[mine.tolist()]
        iou = _iou(_merged(spans[mine]), events[i : i + 1]) if mine.size else 0.0
        largest = own.sort("lost_t", descending=True, nulls_last=True, maintain_order=True)
        row: dict[str, object] = {"found": iou >= FOUND_IOU, "iou": iou}
        for name in ("lost_t", "lost_t_low", "lost_t_high"):
            row[name] = float(own[name].sum()) if mine.size else None
        row["named"] = largest["cause"][0] if mine.size else None
        rows.append(row)
    kept = losses.select(
        "event", "cause", "start_utc", "end_utc", pl.col("lost_t").alias("planted_t")
    )
    schema = {
        "found": pl.Boolean,
        "iou": pl.Float64,
        "lost_t": pl.Float64,
        "lost_t_low": pl.Float64,
        "lost_t_high": pl.Float64,
        "named": pl.String,
    }
    return pl.concat([kept, pl.DataFrame(rows, schema=schema)], how="horizontal")


def _factor_error(found: pl.DataFrame) -> float | None:
    if found.is_empty():
        return None
    # A found event given no tonnes counts as wrong by a factor of a thousand.
    least = found["planted_t"].to_numpy() * 1e-3
    ratio = np.maximum(found["lost_t"].to_numpy(), least) / found["planted_t"].to_numpy()
    return float(np.exp(np.median(np.abs(np.log(ratio)))))


def score(truth: pl.DataFrame, findings: pl.DataFrame, fed_weeks: float) -> Scorecard:
    """Mark findings against the planted events.

    Parameters
    ----------
    truth : polars.DataFrame
        event, kind ("loss" or "confuser"), cause, start_utc, end_utc, lost_t [t].
    findings : polars.DataFrame
        cause, started, ended, lost_t, lost_t_low, lost_t_high [t]; more columns do no harm.
        Rank and confidence do not enter the marks: filter by them before.
    fed_weeks : float
        Length of the data searched [weeks], above 0.

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
    spans, events = _spans(findings, "started", "ended"), _spans(losses, "start_utc", "end_utc")
    shared = _shared(spans, events)
    touches = shared.max(axis=1, initial=0.0) > 0
    owner = np.full(findings.height, -1, dtype=np.int64)
    if losses.height:
        owner[touches] = shared[touches].argmax(axis=1)
    wrong = int(_false(spans, events, shared).sum())
    rows = _event_rows(losses, findings, owner)
    found = rows.filter("found")
    inside = pl.col("planted_t").is_between(pl.col("lost_t_low"), pl.col("lost_t_high"))
    return Scorecard(
        loss_events=losses.height,
        found_events=found.height,
        planted_t=float(losses["lost_t"].sum()),
        found_t=float(found["planted_t"].sum()),
        findings=findings.height,
        false_findings=wrong,
        false_per_week=wrong / fed_weeks,
        confusers=confusers.height,
        confusers_claimed=_claimed(spans, _spans(confusers, "start_utc", "end_utc"), touches),
        factor_error=_factor_error(found),
        coverage=_mean(found.select(inside.alias("hit"))["hit"]),
        cause_accuracy=_mean(found["named"] == found["cause"]),
        events=rows,
    )


def _mean(flags: pl.Series) -> float | None:
    return (
        float(flags.fill_null(value=False).cast(pl.Float64).to_numpy().mean())
        if len(flags)
        else None
    )


def as_text(cards: dict[str, Scorecard]) -> str:
    """Lay marks of several methods side by side as plain text.

    Parameters
    ----------
    cards : dict of str to Scorecard
        By name of the method.

    Returns
    -------
    str
        One line a method, with a heading; a dash where a mark does not exist.
    """
    heads = (
        "events found",
        "tonnes found",
        "false/week",
        "look-alikes",
        "factor",
        "interval",
        "cause",
    )
    width = max([len("method"), *(len(name) for name in cards)])
    lines = ["  ".join(["method".ljust(width), *(head.rjust(12) for head in heads)])]
    for name, card in cards.items():
        cells = (
            f"{card.found_events} of {card.loss_events}",
            f"{100 * card.tonnes_found_share:.0f} %",
            f"{card.false_per_week:.2f}",
            f"{card.confusers_claimed} of {card.confusers}",
            "-" if card.factor_error is None else f"x {card.factor_error:.2f}",
            "-" if card.coverage is None else f"{100 * card.coverage:.0f} %",
            "-" if card.cause_accuracy is None else f"{100 * card.cause_accuracy:.0f} %",
        )
        lines.append("  ".join([name.ljust(width), *(cell.rjust(12) for cell in cells)]))
    return "\n".join(lines) + "\n"
