"""How sure a finding must be, in plain terms."""

from __future__ import annotations

from dataclasses import dataclass, replace

from features.base import Targets
from models.base.smallest import smallest_finding_t


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of the search.

    Attributes
    ----------
    false_findings_per_week : float
        Findings that chance alone may put on the list in a week.
    smallest_finding_t : float, optional
        Excess below which an episode is not worth a line [t sucrose]. Left out, it follows the
        mill's size; see `models.base.smallest`.
    """

    false_findings_per_week: float = 0.5
    smallest_finding_t: float | None = None

    def __post_init__(self) -> None:
        if self.false_findings_per_week <= 0:
            raise ValueError("false_findings_per_week must be above 0")
        if self.smallest_finding_t is not None and self.smallest_finding_t < 0:
            raise ValueError("smallest_finding_t must not be negative")

    def at(self, targets: Targets) -> Settings:
        """Give the same settings with the smallest finding worked out where it was left out."""
        if self.smallest_finding_t is not None:
            return self
        return replace(self, smallest_finding_t=smallest_finding_t(targets))

    @property
    def smallest_kg(self) -> float:
        """Smallest finding [kg sucrose].

        Raises
        ------
        ValueError
            If it was left out and has not been worked out.
        """
        if self.smallest_finding_t is None:
            raise ValueError("smallest_finding_t was left out: work it out with Settings.at first")
        return 1000.0 * self.smallest_finding_t
