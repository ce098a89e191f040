"""The null card: how often the search takes noise for a loss, by kind of noise."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from models.judge import NOISES, NullLine, Searched, null_figures, search_noise
from pipeline.base import Progress, silent
from pipeline.proof.processes import side_by_side

#: Seeds from here on were never looked at while the search was tuned.
FIRST_UNSEEN_NOISE: Final = 8001
RATES: Final = (0.05, 0.2, 0.5)
_WHAT: Final = "Searching noise"


@dataclass(frozen=True, slots=True)
class NullPlan:
    """What to draw and search.

    Attributes
    ----------
    noises : tuple of str
        Keys of `models.judge.NOISES`.
    rates : tuple of float
        Asked for in one channel [1/week], each above 0.
    replicates : int
        Series a noise, the same for every rate; at least 1. Not counted where seeds are given.
    weeks : int
        Length of each [weeks], at least 1.
    jobs : int
        Series worked on at the same time.
    seeds : tuple of int
        Of the series; when empty, seeds never looked at.
    """

    noises: tuple[str, ...] = tuple(NOISES)
    rates: tuple[float, ...] = RATES
    replicates: int = 20
    weeks: int = 8
    jobs: int = 1
    seeds: tuple[int, ...] = ()

    @property
    def drawn(self) -> tuple[int, ...]:
        """Seeds of all series of a noise."""
        return self.seeds or tuple(range(FIRST_UNSEEN_NOISE, FIRST_UNSEEN_NOISE + self.replicates))


def null_lines(plan: NullPlan, progress: Progress = silent) -> Iterator[NullLine]:
    """Lines of the card in the order of the plan, all rates of a noise as soon as it is done.

    Raises
    ------
    DataError
        A worker was stopped from outside.
    """
    tasks = [(name, seed, plan.weeks, plan.rates) for name in plan.noises for seed in plan.drawn]
    done: dict[int, list[Searched]] = {}
    told = 0
    for place, result in _results(tasks, plan.jobs, progress):
        done[place] = result
        # Side by side they come in any order.
        while told < len(plan.noises) and all(p in done for p in _places(plan, told)):
            series = [done.pop(p) for p in _places(plan, told)]
            yield from _noise_lines(plan, plan.noises[told], series)
            told += 1


def _places(plan: NullPlan, noise: int) -> range:
    count = len(plan.drawn)
    return range(noise * count, (noise + 1) * count)


def _noise_lines(plan: NullPlan, name: str, series: list[list[Searched]]) -> Iterator[NullLine]:
    for at, asked in enumerate(plan.rates):
        yield NullLine(name, NOISES[name].words, asked, tuple(one[at] for one in series))


def _results(
    tasks: list[tuple[str, int, int, tuple[float, ...]]], jobs: int, progress: Progress
) -> Iterator[tuple[int, list[Searched]]]:
    if jobs > 1:
        yield from side_by_side(search_noise, tasks, jobs, _WHAT, progress)
        return
    for place, task in enumerate(tasks):
        progress(_WHAT, place, len(tasks))
        yield place, search_noise(*task)
    progress(_WHAT, len(tasks), len(tasks))


def null_json(plan: NullPlan, lines: Sequence[NullLine]) -> str:
    """All figures of the card as JSON."""
    return json.dumps(
        {
            "weeks": plan.weeks,
            "seeds": list(plan.drawn),
            "lines": [null_figures(line) for line in lines],
        },
        indent=1,
        sort_keys=True,
    )
