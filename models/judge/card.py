"""What was marked, of one method on one mill or on several, and the figures that follow from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.judge.nightly import median_wait_d

#: Lower ends of the size classes of planted losses [t].
SIZES_T = (0.0, 0.5, 1.0, 2.0)
#: False findings a week at which lists of different length are compared.
FALSE_PER_WEEK = 0.5
#: Every planted loss above this must be touched [t].
NOTABLE_T = 0.5


@dataclass(frozen=True, slots=True)
class Scorecard:
    """Marks of one method, on one mill or on several.

    Attributes
    ----------
    weeks : float
        Length of the data searched [weeks].
    findings, false_findings : int
        Findings given, and false ones.
    claimed_t, false_t : float
        Tonnes of all findings, and of false ones [t].
    confusers, confusers_claimed : int
        Look-alikes planted, and those claimed as a loss.
    orders : tuple of float
        NDCG at 10 of each mill.
    events : polars.DataFrame
        One row a loss event: event, cause, shape (a step, or what else), start_utc, end_utc,
        planted_t, found, found_early
        (at `FALSE_PER_WEEK`), touched, iou, lost_t, lost_t_low, lost_t_high, named; and, where
        mornings were given, listed_d, found_d (null: never), timely and found_timely (null without
        mornings), as ``marks_nightly.Wait`` has them.
    """

    weeks: float
    findings: int
    false_findings: int
    claimed_t: float
    false_t: float
    confusers: int
    confusers_claimed: int
    orders: tuple[float, ...]
    events: pl.DataFrame = field(repr=False)

    @property
    def loss_events(self) -> int:
        """Losses planted."""
        return self.events.height

    @property
    def found_events(self) -> int:
        """Losses found."""
        return int(self.events["found"].sum())

    @property
    def planted_t(self) -> float:
        """Tonnes planted [t]."""
        return float(self.events["planted_t"].sum())

    @property
    def found_t(self) -> float:
        """Planted tonnes of the events found [t]."""
        return float(self._found()["planted_t"].sum())

    @property
    def tonnes_found_share(self) -> float:
        """Share of the planted tonnes whose event was found."""
        return self.found_t / self.planted_t if self.planted_t > 0 else 0.0

    @property
    def tonnes_early_share(self) -> float:
        """Share of planted tonnes found at the top of the list, at `FALSE_PER_WEEK`."""
        early = float(self.events.filter("found_early")["planted_t"].sum())
        return early / self.planted_t if self.planted_t > 0 else 0.0

    @property
    def notable(self) -> tuple[int, int]:
        """Events above `NOTABLE_T` that any finding touches, and how many there are."""
        large = self.events.filter(pl.col("planted_t") > NOTABLE_T)
        return int(large["touched"].sum()), large.height

    @property
    def false_per_week(self) -> float:
        """False findings a week."""
        return self.false_findings / self.weeks

    @property
    def false_tonnes_share(self) -> float | None:
        """Share of false findings in all tonnes claimed; None when none were claimed."""
        return self.false_t / self.claimed_t if self.claimed_t > 0 else None

    @property
    def confusers_share(self) -> float | None:
        """Share of look-alikes claimed as a loss; None when none was planted."""
        return self.confusers_claimed / self.confusers if self.confusers else None

    @property
    def factor_error(self) -> float | None:
        """Median factor between claimed and planted tonnes of found events, either way (1: none).

        A found event given no tonnes counts as wrong by a factor of a thousand. None when
        nothing was found.
        """
        return _median_factor(np.abs(self._log_ratio()))

    @property
    def factor_bias(self) -> float | None:
        """Median of claimed over planted tonnes of found events: below 1 tells too little."""
        return _median_factor(self._log_ratio())

    @property
    def coverage(self) -> float | None:
        """Share of found events whose summed interval holds the planted tonnes."""
        inside = pl.col("planted_t").is_between("lost_t_low", "lost_t_high")
        return _mean(self._found().select(inside.alias("hit"))["hit"])

    @property
    def cause_accuracy(self) -> float | None:
        """Share of found events whose largest finding names the right cause."""
        found = self._found()
        return _mean(found["named"] == found["cause"])

    @property
    def ndcg(self) -> float | None:
        """Mean NDCG at 10 of the mills."""
        return float(np.mean(self.orders)) if self.orders else None

    @property
    def is_nightly(self) -> bool:
        """Whether the list of every morning was marked too."""
        return bool(self.events["timely"].is_not_null().any())

    @property
    def days_to_list(self) -> float | None:
        """Median days from the start of an event to the first list with it."""
        return median_wait_d(self.events["listed_d"].to_list()) if self.is_nightly else None

    @property
    def timely_share(self) -> float | None:
        """Share of planted tonnes whose event is on the list by its second morning."""
        return self._nightly_share("timely")

    @property
    def found_timely_share(self) -> float | None:
        """Share of planted tonnes whose event is found by its second morning."""
        return self._nightly_share("found_timely")

    def _nightly_share(self, column: str) -> float | None:
        if not self.is_nightly or self.planted_t <= 0:
            return None
        return float(self.events.filter(column)["planted_t"].sum()) / self.planted_t

    def by_size(self) -> pl.DataFrame:
        """Recall by size of the planted loss.

        Returns
        -------
        polars.DataFrame
            from_t (lower end of the class), events, found, touched, planted_t, found_t.
        """
        lower = pl.lit(SIZES_T[0])
        for edge in SIZES_T[1:]:
            lower = pl.when(pl.col("planted_t") >= edge).then(pl.lit(edge)).otherwise(lower)
        sized = self.events.with_columns(from_t=lower)
        counted = sized.group_by("from_t").agg(
            pl.len().alias("events"),
            pl.col("found", "touched").sum(),
            pl.col("planted_t").sum(),
            found_t=pl.col("planted_t").filter("found").sum(),
        )
        frame = pl.DataFrame({"from_t": SIZES_T}).join(counted, on="from_t", how="left")
        return frame.fill_null(0).sort("from_t")

    def by_cause(self) -> dict[str, Scorecard]:
        """Marks of the events of each planted cause; what belongs to no event is left out."""
        return self._by("cause")

    def by_shape(self) -> dict[str, Scorecard]:
        """Marks of the events of each shape, in the same way."""
        return self._by("shape")

    def _by(self, column: str) -> dict[str, Scorecard]:
        parts = self.events.partition_by(column, as_dict=True)
        return {str(key): self.events_alone(parts[key,]) for (key,) in sorted(parts)}

    def events_alone(self, events: pl.DataFrame) -> Scorecard:
        """Marks of some of the events; what belongs to no event is left out."""
        return replace(
            self,
            findings=0,
            false_findings=0,
            claimed_t=0.0,
            false_t=0.0,
            confusers=0,
            confusers_claimed=0,
            orders=(),
            events=events,
        )

    def _found(self) -> pl.DataFrame:
        return self.events.filter("found")

    def _log_ratio(self) -> NDArray[np.float64]:
        found = self._found().filter(pl.col("planted_t") > 0)
        planted = found["planted_t"].to_numpy()
        return np.asarray(np.log(np.maximum(found["lost_t"].to_numpy(), planted * 1e-3) / planted))


def pooled(cards: Sequence[Scorecard]) -> Scorecard:
    """Marks of several mills together.

    Raises
    ------
    ValueError
        Without any card.
    """
    if not cards:
        raise ValueError("there are no marks to put together; score one mill at least")
    return Scorecard(
        weeks=sum(c.weeks for c in cards),
        findings=sum(c.findings for c in cards),
        false_findings=sum(c.false_findings for c in cards),
        claimed_t=sum(c.claimed_t for c in cards),
        false_t=sum(c.false_t for c in cards),
        confusers=sum(c.confusers for c in cards),
        confusers_claimed=sum(c.confusers_claimed for c in cards),
        orders=tuple(order for c in cards for order in c.orders),
        events=pl.concat([c.events for c in cards]),
    )


def _median_factor(logs: NDArray[np.float64]) -> float | None:
    return float(np.exp(np.median(logs))) if logs.size else None


def _mean(flags: pl.Series) -> float | None:
    known = flags.fill_null(value=False).cast(pl.Float64)
    return float(known.to_numpy().mean()) if len(known) else None


def figures(card: Scorecard) -> dict[str, object]:
    """All figures of a card by name, for other programs; null where a figure does not exist."""
    touched, notable = card.notable
    return {
        "weeks": card.weeks,
        "events": card.loss_events,
        "events_found": card.found_events,
        "planted_t": card.planted_t,
        "tonnes_found_share": card.tonnes_found_share,
        "tonnes_found_share_at_half_false_a_week": card.tonnes_early_share,
        "events_over_half_t": notable,
        "events_over_half_t_touched": touched,
        "by_size": card.by_size().to_dicts(),
        "findings": card.findings,
        "false_findings": card.false_findings,
        "false_per_week": card.false_per_week,
        "claimed_t": card.claimed_t,
        "false_tonnes_share": card.false_tonnes_share,
        "look_alikes": card.confusers,
        "look_alikes_claimed": card.confusers_claimed,
        "look_alikes_share": card.confusers_share,
        "factor_error": card.factor_error,
        "factor_bias": card.factor_bias,
        "coverage": card.coverage,
        "cause_accuracy": card.cause_accuracy,
        "ndcg_10": card.ndcg,
        "days_to_list": card.days_to_list,
        "timely_share": card.timely_share,
        "found_timely_share": card.found_timely_share,
    }
