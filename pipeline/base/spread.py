"""Pieces of work that need nothing of one another, done here one by one or spread over workers.

A stage names its pieces; how they are carried out is up to a `Spread`. One machine and a cluster
so run the same code on the same pieces, and leave the same files in the lake. A piece writes to the
lake alone: the findings store keeps its one writer, the process that asked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

#: One piece: the arguments of its function.
Piece = tuple[Any, ...]


class Spread(Protocol):
    """Carries out all pieces, in any order and anywhere, and returns when all are done."""

    def __call__(
        self, work: Callable[..., object], pieces: Sequence[Piece], done: Callable[[int], None]
    ) -> None:
        """Call `work` with each of `pieces`; `done` is told how many are finished."""


def one_by_one(
    work: Callable[..., object], pieces: Sequence[Piece], done: Callable[[int], None]
) -> None:
    """Carry out pieces in this process, in their order."""
    for number, piece in enumerate(pieces):
        done(number)
        work(*piece)
    done(len(pieces))


def batches(pieces: Sequence[Piece], workers: int, rounds: int = 3) -> list[Sequence[Piece]]:
    """Join pieces into batches: enough for every worker to come round a few times, no more.

    A task costs some 25 ms at the scheduler, a week of readings as little as half a second.
    """
    size = max(1, len(pieces) // max(workers * rounds, 1))
    return [pieces[n : n + size] for n in range(0, len(pieces), size)]
