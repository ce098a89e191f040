"""Work done side by side in processes of one thread each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, Final, TypeVar

from pipeline.base import DataError, Progress

_ONE_THREAD: Final = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
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
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))
    try:
        waiting: dict[Future[T], int] = {
            pool.submit(work, *task): place for place, task in enumerate(tasks)
        }
        while waiting:
            progress(what, done, total)
            ready, _ = wait(waiting, timeout=1.0, return_when=FIRST_COMPLETED)
            for future in sorted(ready, key=waiting.__getitem__):
                place = waiting.pop(future)
                done += 1
                yield place, future.result()
    except BrokenProcessPool as error:
        raise DataError(
            "A worker was stopped before its work was done, perhaps for want of memory.",
            f"{done} of {total} parts were done",
            "Run again with fewer --jobs.",
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
    progress(what, total, total)
