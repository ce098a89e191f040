"""What a loss above the unavoidable is made of: causes of findings, and what lies in none."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from models.account import added_findings
from pipeline.report.view import Estimate


@dataclass(frozen=True, slots=True)
class Part:
    """Findings of one cause: how many, and what they lost above the usual [t]."""

    cause: str
    findings: int
    lost: Estimate


@dataclass(frozen=True, slots=True)
class MadeOf:
    """Parts of a total.

    Attributes
    ----------
    parts : tuple of Part
        The costliest first.
    found : Estimate
        All of them together [t].
    total : Estimate or None
        Loss above the unavoidable [t]; None where it is not known.
    """

    parts: tuple[Part, ...]
    found: Estimate
    total: Estimate | None

    @property
    def findings(self) -> int:
        """How many findings there are."""
        return sum(part.findings for part in self.parts)

    @property
    def rest_t(self) -> float | None:
        """What lies in no finding [t]; below zero where the station did better than its targets."""
        return None if self.total is None else self.total.value - self.found.value


def made_of(found: pl.DataFrame, total: Estimate | None, level_log_sd: float) -> MadeOf:
    """Part a total by the causes of findings.

    Parameters
    ----------
    found : polars.DataFrame
        Findings with cause, lost_t, lost_t_low, lost_t_high, as `pipeline.report.days.within` cuts
        them to a period.
    total : Estimate or None
        Loss above the unavoidable in that period [t].
    level_log_sd : float
        Log standard error of the kinetic level that the findings share [-].
    """
    parts = [
        Part(cause, rows.height, Estimate(*added_findings(rows, level_log_sd)))
        for (cause,), rows in found.partition_by("cause", as_dict=True).items()
    ]
    parts.sort(key=lambda part: (-part.lost.value, part.cause))
    together = Estimate(*added_findings(found, level_log_sd)) if parts else Estimate(0.0, 0.0, 0.0)
    return MadeOf(tuple(parts), together, total)
