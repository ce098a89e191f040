"""How sure a finding must be, in plain terms."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of the search.

    Attributes
    ----------
    false_findings_per_week : float
        Findings that chance alone may put on the list in a week.
    smallest_finding_t : float
        Excess below which an episode is not worth a line [t sucrose].
    """

    false_findings_per_week: float = 0.5
    smallest_finding_t: float = 0.15

    def __post_init__(self) -> None:
        if self.false_findings_per_week <= 0:
            raise ValueError("false_findings_per_week must be above 0")
        if self.smallest_finding_t < 0:
            raise ValueError("smallest_finding_t must not be negative")
