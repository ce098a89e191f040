"""Pieces of work spread over the cores of this machine, without anything but what Python brings.

One process for each core, one thread in each: what is searched holds the interpreter, so threads
would wait for one another.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Final, TypeVar

from pipeline.base.spread import Piece, Spread, one_by_one

#: Never more processes than this, and each with so much memory of its own at least [GiB].
_MOST: Final = 4
_MEMORY_GIB: Final = 2.0
#: Fewer pieces are done here: a process takes a second to begin.
_FEWEST: Final = 4
#: How long Ctrl-C may go unheard [s].
_LISTEN_S: Final = 0.5
#: One thread each: as many processes as cores share a machine best.
ONE_THREAD: Final = dict.fromkeys(
    ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)

_T = TypeVar("_T")


def cores_here() -> int:
    """How many processes share this machine well: by its cores, and by its memory."""
    if hasattr(os, "sched_getaffinity"):
        cores = len(os.sched_getaffinity(0))
    else:
        cores = os.cpu_count() or 1
    return max(1, min(cores, _MOST, int(_memory_gib() // _MEMORY_GIB)))


def _memory_gib() -> float:
    """Memory of this machine [GiB]; endless where it does not tell."""
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 2**30
    except (AttributeError, ValueError, OSError):
        return float("inf")


@contextmanager
def over_cores(workers: int | None = None) -> Iterator[Spread]:
    """Spread pieces over processes of this machine while the context lasts.

    Parameters
    ----------
    workers : int, optional
        Processes; by default as many as `cores_here` says. With one, all is done in this process.

    Yields
    ------
    Spread
        Few pieces are done here. Where a process dies, as it may where memory is short, what it
        left is done here.
    """
    number = workers or cores_here()
    if number < 2:
        yield one_by_one
        return
    with processes(number) as pool:
        yield _Over(pool)


class _Over:
    """Pieces on the processes of a pool."""

    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self._pool = pool
        self._broken = False

    def __call__(
        self, work: Callable[..., object], pieces: Sequence[Piece], done: Callable[[int], None]
    ) -> None:
        if self._broken or len(pieces) < _FEWEST:
            one_by_one(work, pieces, done)
            return
        left = dict(enumerate(pieces))
        try:
            done(0)
            for place, _ in as_done(self._pool, work, pieces):
                del left[place]
                done(len(pieces) - len(left))
        except BrokenProcessPool:
            self._broken = True
            ready = len(pieces) - len(left)
            one_by_one(work, list(left.values()), lambda more: done(ready + more))


@contextmanager
def processes(number: int) -> Iterator[ProcessPoolExecutor]:
    """Processes of their own, ended at once where the context is left by an error."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        number, multiprocessing.get_context("spawn"), initializer=_left_alone
    )
    try:
        yield pool
    except BaseException:
        # Whoever stops the run does not wait for pieces that nobody wants any more.
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
        raise
    finally:
        pool.shutdown()


def as_done(
    pool: ProcessPoolExecutor, work: Callable[..., _T], pieces: Sequence[Piece]
) -> Iterator[tuple[int, _T]]:
    """Do `work` with each of `pieces`; place and result of each as soon as it is done.

    Raises
    ------
    BrokenProcessPool
        A process was ended from outside.
    """
    with _environment(ONE_THREAD):  # of the processes that begin with the first pieces
        waiting: dict[Future[_T], int] = {
            pool.submit(work, *piece): place for place, piece in enumerate(pieces)
        }
    while waiting:
        # A library that listens to Ctrl-C too may keep it from ending a wait without an end.
        ready, _ = wait(waiting, _LISTEN_S, FIRST_COMPLETED)
        for future in sorted(ready, key=waiting.__getitem__):
            yield waiting.pop(future), future.result()


def _left_alone() -> None:
    """Leave Ctrl-C to the process that asked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _environment(words: dict[str, str]) -> Iterator[None]:
    """Set words of the environment for a while."""
    before = {name: os.environ.get(name) for name in words}
    os.environ.update(words)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
