"""One line of the null card: a noise, a rate asked, and what the search made of its series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.base import Array
from models.judge.noises import NOISES, draw_noise
from models.judge.null_card import KEPT_TIMES, WEEK_MIN, Rate, p_values, stretches
from models.search import CELL_H, look_at

#: p-value that strays are counted at: rarer than any rate usually asked of six hours.
SMALL_P = 0.001
#: A line whose series say in at least this share that they cannot be calibrated promises no rate.
MOST = 0.5


@dataclass(frozen=True, slots=True)
class Searched:
    """What the search made of one series in which nothing is lost.

    Attributes
    ----------
    count : int
        Stretches accepted.
    small : int
        Those of a p-value up to `SMALL_P`.
    taken_min : int
        Time they take [min].
    minutes : int
        Measured in the series [min], above 0.
    sure : bool
        False where the search says that the channel cannot be calibrated.
    """

    count: int
    small: int
    taken_min: int
    minutes: int
    sure: bool


@dataclass(frozen=True, slots=True)
class NullLine:
    """A noise at one rate, all its series together.

    Attributes
    ----------
    name, words : str
        Of the noise, or of what else the series are.
    asked : float
        In one channel [1/week].
    series : tuple of Searched
        At least one.
    """

    name: str
    words: str
    asked: float
    series: tuple[Searched, ...]

    @property
    def rate(self) -> Rate:
        """Of all series."""
        return _rate(self.series, self.asked)

    @property
    def sure_rate(self) -> Rate | None:
        """Of the series that were calibrated; None where none was."""
        sure = [one for one in self.series if one.sure]
        return _rate(sure, self.asked) if sure else None

    @property
    def small(self) -> Rate:
        """Stretches of small p-value, beside what that p-value promises."""
        per_week = SMALL_P * 168.0 / CELL_H
        return Rate(sum(one.small for one in self.series), self.rate.weeks, per_week)

    @property
    def unsure(self) -> int:
        """Series of which the search says that they cannot be calibrated."""
        return sum(not one.sure for one in self.series)

    @property
    def most(self) -> int:
        """Stretches in the series that has most."""
        return max(one.count for one in self.series)

    @property
    def time_share(self) -> float:
        """Share of the time taken for a loss."""
        return sum(o.taken_min for o in self.series) / sum(o.minutes for o in self.series)

    @property
    def verdict(self) -> str:
        """Whether the rate asked was kept, in a few words.

        ``cannot be calibrated`` where at least half of the series say so, as no rate is promised
        then; ``yes``; ``where calibrated`` where the others alone keep it; else
        ``too many`` or ``too few``, with a question mark where the interval reaches into what
        counts as kept.
        """
        if self.unsure >= MOST * len(self.series):
            return "cannot be calibrated"
        if self.rate.kept:
            return "yes"
        if self.unsure and self.sure_rate is not None and self.sure_rate.kept:
            return "where calibrated"
        low, high = self.rate.interval()
        clear = low > KEPT_TIMES[1] or high < KEPT_TIMES[0]
        return f"too {'many' if self.rate.times > 1.0 else 'few'}{'' if clear else ' ?'}"

    @property
    def honest(self) -> bool:
        """Whether the search kept its word or said that it cannot give it."""
        return self.verdict in ("yes", "cannot be calibrated", "where calibrated")


def _rate(series: Sequence[Searched], asked: float) -> Rate:
    weeks = sum(one.minutes for one in series) / WEEK_MIN
    return Rate(sum(one.count for one in series), weeks, asked)


def search_series(kg_h: Array, rates: Sequence[float], usual: float | None) -> list[Searched]:
    """Search one series in which nothing is lost, at each rate.

    Parameters
    ----------
    kg_h : ndarray, shape (n,)
        One value a minute [kg/h], NaN where missing.
    rates : sequence of float
        Asked for in one channel [1/week], each above 0.
    usual : float, optional
        Usual loss that the noise multiplies [kg/h]; None where it adds.
    """
    # Chance is learnt from all hours, so that it is the same for every rate.
    sure = look_at(kg_h, usual).chance.sure
    measured = int(np.isfinite(kg_h).sum())
    out = []
    for asked in rates:
        found = stretches(kg_h, asked, usual)
        small = int((p_values(found) <= SMALL_P).sum())
        taken = sum(c.span.end - c.span.start for c in found)
        out.append(Searched(len(found), small, taken, measured, sure))
    return out


def search_noise(name: str, seed: int, weeks: int, rates: Sequence[float]) -> list[Searched]:
    """Draw one series of a noise and search it at each rate; see `search_series`."""
    noise = NOISES[name]
    return search_series(draw_noise(name, seed, weeks * WEEK_MIN), rates, noise.usual)


_HEAD = (
    f"{'noise':<42}{'asked/week':>11}{'count':>7}{'got/week':>10}{'got/asked':>11}{'90 %':>14}"
    f"{'no calib.':>11}{'others':>8}{'most':>6}{'time':>8}{'small p':>9}  kept"
)

#: What the columns of the table mean.
NULL_LEGEND = (
    "asked: false findings a week allowed in one channel. 90 %: exact Poisson interval of "
    "got/asked, too narrow where few series hold most. no calib.: series of which the search says "
    "that they cannot be calibrated; others: got/asked of all but these. most: in one series. "
    f"time: share taken for a loss. small p: stretches with a p-value up to {SMALL_P:g}, over what "
    "that p-value promises. ?: the interval reaches into what counts as kept."
)


def null_head() -> str:
    """Heading of the table whose lines `null_text` makes."""
    return _HEAD


def null_text(line: NullLine) -> str:
    """One line of the table."""
    low, high = line.rate.interval()
    missed = f"{line.unsure} of {len(line.series)}"
    others = "-" if line.sure_rate is None else f"{line.sure_rate.times:.2f}"
    return (
        f"{line.words:<42}{line.asked:>11g}{line.rate.count:>7}{line.rate.got:>10.3f}"
        f"{line.rate.times:>11.2f}{f'{low:.2f}-{high:.2f}':>14}{missed:>11}{others:>8}{line.most:>6}"
        f"{100.0 * line.time_share:>6.1f} %{line.small.times:>9.1f}  {line.verdict}"
    )


def null_figures(line: NullLine) -> dict[str, object]:
    """All figures of a line, for JSON."""
    low, high = line.rate.interval()
    sure = line.sure_rate
    return {
        "noise": line.name,
        "words": line.words,
        "asked_per_week": line.asked,
        "weeks": line.rate.weeks,
        "series": len(line.series),
        "count": line.rate.count,
        "got_per_week": line.rate.got,
        "got_over_asked": line.rate.times,
        "got_over_asked_low": low,
        "got_over_asked_high": high,
        "series_not_calibrated": line.unsure,
        "calibrated_got_over_asked": None if sure is None else sure.times,
        "most_in_a_series": line.most,
        "share_of_time": line.time_share,
        "small_p_over_promised": line.small.times,
        "kept": line.verdict,
        "honest": line.honest,
    }
