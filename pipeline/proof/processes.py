"""Work done side by side in processes of one thread each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from pipeline.base import DataError, Progress, as_done, processes

T = TypeVar("T")


def side_by_side(
    work: Callable[..., T],
    tasks: Sequence[tuple[Any, ...]],
    jobs: int,
    what: str,
    progress: Progress,
) -> Iterator[tuple[int, T]]:
    """Do `work` with the arguments of each task, `jobs` of them at a time.

    Parameters
    ----------
    work : callable
        A function of a module, as a new process must find it again.
    tasks : sequence of tuple
        Arguments of each.
    jobs : int
        At least 1.
    what : str
        Said beside the progress.
    progress : callable

    Yields
    ------
    (int, T)
        Place of the task and its result, each as soon as it is done.

    Raises
    ------
    DataError
        A worker was stopped from outside.
    """
    total, done = len(tasks), 0
    progress(what, done, total)
    try:
        with processes(jobs) as pool:
            for place, result in as_done(pool, work, tasks):
                done += 1
                yield place, result
                progress(what, done, total)
    except BrokenProcessPool as error:
        raise DataError(
            "A worker was stopped before its work was done, perhaps for want of memory.",
            f"{done} of {total} parts were done",
            "Run again with fewer --jobs.",
        ) from error
