"""Losses that overlap: which one a finding speaks of, and findings that name two causes at once.

Two faults at once are told well by two findings, or by one that names both and shares its tonnes
between them. What a finding names is read from its evidence: ``parts`` (cause and share of the
tonnes) where it has them, else its cause and every alternative of some weight.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import polars as pl

from models.judge.marks import FALSE_SHARE, Flags, Spans, hours_of, shared_h, to_spans

#: Weight from which an alternative counts as named too.
NAMED_WEIGHT = 0.25
_TOGETHER = ("lost_t", "lost_t_low", "lost_t_high")


def causes_named(evidence: str | None, cause: str) -> dict[str, float]:
    """Causes that a finding names, each with its share of the tonnes.

    Parameters
    ----------
    evidence : str or None
        JSON; ``parts`` is a list of ``{"cause", "share"}``, ``alternatives`` one of ``{"cause",
        "weight"}``, the weights of the causes that came second and later.
    cause : str
        What the finding says it is.

    Returns
    -------
    dict of str to float
        Shares add up to 1.
    """
    known = json.loads(evidence) if evidence else {}
    parts = known.get("parts") or []
    if parts:
        named = {str(part["cause"]): float(part["share"]) for part in parts}
    else:
        others = {str(a["cause"]): float(a["weight"]) for a in known.get("alternatives", [])}
        own = max(1.0 - sum(others.values()), max(others.values(), default=0.0))
        named = {cause: own} | {c: w for c, w in others.items() if w >= NAMED_WEIGHT}
    whole = sum(named.values())
    return {c: w / whole for c, w in named.items()} if whole > 0 else {cause: 1.0}


def parted(findings: pl.DataFrame, events: Spans, causes: Sequence[str]) -> pl.DataFrame:
    """Findings, those that name both of two overlapping losses put in as one for each.

    Parameters
    ----------
    findings : polars.DataFrame
        cause, started, ended, lost_t, lost_t_low, lost_t_high; without ``evidence`` nothing is
        parted.
    events : array, shape (m, 2)
        Planted losses [h since 1970].
    causes : sequence of str
        Of these losses.

    Returns
    -------
    polars.DataFrame
        The same columns. A finding is parted only where at least half of its own time lies in
        each of two losses or more whose causes it names; tonnes and interval go by the shares.
    """
    if "evidence" not in findings.columns or findings.is_empty() or len(causes) == 0:
        return findings
    spans = to_spans(findings, "started", "ended")
    inside = shared_h(spans, events) >= FALSE_SHARE * np.maximum(hours_of(spans), 1e-9)[:, None]
    out = []
    for i in range(findings.height):
        row = findings[i]
        here = {causes[j] for j in np.flatnonzero(inside[i]).tolist()}
        named = causes_named(row["evidence"].item(), row["cause"].item()) if len(here) > 1 else {}
        both = {c: share for c, share in named.items() if c in here}
        if len(both) < 2:
            out.append(row)
            continue
        whole = sum(both.values())
        out += [
            row.with_columns(pl.lit(c).alias("cause"), pl.col(_TOGETHER) * (share / whole))
            for c, share in both.items()
        ]
    return pl.concat(out)


def named_right(findings: pl.DataFrame, causes: Sequence[str]) -> Flags:
    """Whether each finding names the cause of each loss, shape (n_findings, m)."""
    return findings["cause"].to_numpy()[:, None] == np.asarray(causes, dtype=object)[None, :]
