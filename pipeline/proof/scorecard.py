"""How well lostpol finds what was planted: simulated mills through the stages of any other mill."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from models.judge import Scorecard, by_trait, figures, microbial_by_lactic
from pipeline.base import DataError, Progress, silent
from pipeline.proof.one_mill import LISTED, MillMarks, Plan, mark_mill
from pipeline.proof.processes import side_by_side

#: Seeds from here on were never looked at while the search was tuned.
FIRST_UNSEEN_ANY: Final = 501
FIRST_UNSEEN_USUAL: Final = 201
FIRST_UNSEEN_HARD: Final = 9001


def proof_seeds(mills: int, *, any_mill: bool, hard: bool = False) -> tuple[int, ...]:
    """Seeds of so many mills never used for tuning."""
    first = FIRST_UNSEEN_ANY if any_mill else FIRST_UNSEEN_USUAL
    first = FIRST_UNSEEN_HARD if hard else first
    return tuple(range(first, first + mills))


def mark_mills(plan: Plan, progress: Progress = silent) -> Iterator[MillMarks]:
    """Simulate, search and mark the mills of a plan, each as soon as it is done.

    Raises
    ------
    DataError
        The template is not there, or a worker was stopped from outside.
    """
    if not plan.template.is_file():
        raise DataError(
            "The description that simulated mills are made from is not there.",
            str(plan.template),
            "Run lostpol scorecard from a checkout of the project, installed with pip install -e .",
        )
    if plan.jobs == 1:
        for seed in plan.seeds:
            yield mark_mill(seed, plan, progress)
        return
    tasks = [(seed, plan) for seed in plan.seeds]
    what = "Simulating and searching mills"
    for _, mill in side_by_side(mark_mill, tasks, plan.jobs, what, progress):
        yield mill


def as_json(plan: Plan, mills: Sequence[MillMarks], together: Mapping[str, Scorecard]) -> str:
    """All figures as JSON: of all mills together, and of each with its hidden parameters."""
    return json.dumps(
        {
            "weeks": plan.weeks,
            "any_mill": plan.any_mill,
            "hard_mill": plan.hard,
            "nightly": plan.nightly,
            "together": {name: figures(card) for name, card in together.items()},
            "by_cause": _parts({name: card.by_cause() for name, card in together.items()}),
            "by_shape": _parts({name: card.by_shape() for name, card in together.items()}),
            "by_trait": _traits(mills),
            "microbial_over_half_t": _microbial(mills),
            "mills": [_mill_json(mill) for mill in mills],
        },
        indent=1,
        sort_keys=True,
        default=str,
    )


def _parts(parts: Mapping[str, Mapping[str, Scorecard]]) -> dict[str, Any]:
    return {
        method: {part: figures(card) for part, card in cards.items()}
        for method, cards in parts.items()
    }


def _traits(mills: Sequence[MillMarks]) -> dict[str, Any]:
    words = [mill.traits for mill in mills]
    out: dict[str, Any] = {}
    for method in mills[0].cards if mills else ():
        both = by_trait([mill.cards[method] for mill in mills], words)
        for word, (having, others) in both.items():
            without = figures(others) if others else None
            out.setdefault(word, {})[method] = {"with": figures(having), "without": without}
    return out


def _microbial(mills: Sequence[MillMarks]) -> dict[str, Any]:
    parted = microbial_by_lactic([mill.cards for mill in mills], [mill.lactic for mill in mills])
    named = {True: "with_lactic_acid", False: "without_lactic_acid"}
    return {
        named[has]: {method: figures(card) for method, card in cards.items()}
        for has, cards in parted.items()
    }


def _mill_json(mill: MillMarks) -> dict[str, Any]:
    return {
        "seed": mill.seed,
        "plant": asdict(mill.plant),
        "habits": mill.habits.as_dict() if mill.habits else None,
        "traits": list(mill.traits),
        "share_of_season_losses": mill.loss_share,
        "share_of_season_events": mill.event_share,
        "seconds": mill.seconds,
        "methods": {name: figures(card) for name, card in mill.cards.items()},
        "events": mill.cards[LISTED].events.to_dicts(),
    }
