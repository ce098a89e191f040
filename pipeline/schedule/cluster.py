"""Backfills of many mills and seasons at once, on a Dask cluster through Prefect.

Each mill runs its own chain in a thread of this process, which alone holds its lock and writes its
findings. What a chain spreads (days to work out, search windows to search) becomes tasks on the
workers, so that one long season and many short ones both keep all of them busy.

Workers read and write the lake, and nothing else of a store: on other machines it must lie at a
URL, or in a shared folder under the same path. They must hold the same versions, or digits could
differ.
"""

from __future__ import annotations

import logging
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from contextvars import copy_context
from dataclasses import dataclass
from datetime import date
from threading import Lock, Semaphore
from typing import Any, Final
from uuid import uuid4

from prefect import flow, task
from prefect.cache_policies import NO_CACHE
from prefect.context import FlowRunContext

from pipeline import run
from pipeline.base import (
    ONE_THREAD,
    ConfigError,
    DataError,
    LostpolError,
    Piece,
    Progress,
    batches,
    keep_private,
    needing,
    silent,
)
from pipeline.mill import Mill
from pipeline.run import Step, in_words
from pipeline.schedule.flows import require_apart, scheduling_server
from pipeline.stages import versions_here
from pipeline.words import joined, said

#: How long a cluster may take to show its first worker [s].
_PATIENCE_S: Final = 120
#: How long a scheduler may take to answer at all.
_ANSWER_S: Final = 15
#: Reports that this process makes at once: each takes some 1.5 GiB, however many mills there are.
_REPORTS_AT_ONCE: Final = 2
#: What the flows of this process do, by name: open files and locks cannot travel to workers.
_JOBS: Final[dict[str, Callable[[], None]]] = {}


@dataclass(frozen=True, slots=True)
class Cluster:
    """Where the work goes.

    Attributes
    ----------
    address : str or None
        Scheduler of an existing cluster, such as ``tcp://10.0.0.5:8786``; without one a cluster of
        processes on this machine is made and taken down again.
    workers : int
        Processes of the local cluster; of an existing one, about how many it has.
    """

    address: str | None = None
    workers: int = 2


def cluster_of(
    mills: Sequence[Mill], address: str | None = None, workers: int | None = None
) -> Cluster:
    """Cluster that the descriptions name, or what was asked for instead.

    Raises
    ------
    ConfigError
        The descriptions name different clusters, and none was asked for.
    """
    named = sorted({mill.cluster.address or "" for mill in mills})
    if address is None and len(named) > 1:
        raise ConfigError(
            said("The mills name different clusters."),
            joined(
                ", ", [name or said("none, that is processes on this machine") for name in named]
            ),
            said("Give the same [cluster] address in all of them, or name one with --scheduler."),
        )
    parts = max((mill.cluster.workers or 0 for mill in mills), default=0)
    return Cluster(address or named[0] or None, workers or parts or os.cpu_count() or 1)


@flow(name="backfill on a cluster", persist_result=False)
def backfill_on_a_cluster(job: str) -> None:
    """Carry out a job of this process. The flow itself is sent to the workers with every task."""
    _carry_out(job)


def _carry_out(job: str) -> None:
    _JOBS[job]()


def backfill_together(
    mills: Sequence[Mill],
    cluster: Cluster,
    first: date | None = None,
    last: date | None = None,
    progress: Progress = silent,
) -> list[run.Outcome]:
    """Backfill several mills on a cluster; see `pipeline.run.order.backfill`.

    Returns
    -------
    list of Outcome
        In the order of the mills.

    Raises
    ------
    ConfigError
        Two mills share a store or lake; Dask is not installed; the cluster has other versions.
    DataError
        Some mills could not be backfilled; the others were.
    """
    require_apart(mills, ("store", "lake"))
    count = _Count(progress)

    def spread(
        work: Callable[..., object], pieces: Sequence[Piece], done: Callable[[int], None]
    ) -> None:
        _on_workers(work, pieces, cluster.workers, count)
        done(len(pieces))

    def job() -> None:
        # Made at first use: threads that ask at the same moment would each make a cluster.
        context = FlowRunContext.get()
        client = getattr(context.task_runner, "client", None) if context else None
        if client is not None:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        with ThreadPoolExecutor(len(mills), thread_name_prefix="mill") as pool:
            asked = [
                # Prefect knows by its context, which threads do not inherit, whose tasks these are.
                pool.submit(copy_context().run, _one, mill, first, last, (spread, step))
                for mill in mills
            ]
            results.extend(future.result() for future in asked)

    results: list[run.Outcome | BaseException] = []
    step = _few_reports(_REPORTS_AT_ONCE)
    name = uuid4().hex
    _JOBS[name] = job
    try:
        # A backfill takes hours, and a server that ends meanwhile takes its history along.
        with scheduling_server(), _runner(cluster) as runner:
            backfill_on_a_cluster.with_options(task_runner=runner)(name)
    finally:
        del _JOBS[name]
    return _outcomes(mills, results)


def _one(
    mill: Mill, first: date | None, last: date | None, ways: tuple[Any, Step]
) -> run.Outcome | BaseException:
    spread, step = ways
    try:
        return run.backfill(mill, first, last, step, spread=spread)
    except Exception as error:  # noqa: BLE001  (told below, when the other mills are done)
        return error


def _few_reports(most: int) -> Step:
    """Steps of many mills, of which no more than `most` make a report at a time."""
    turn = Semaphore(most)

    def step(name: str, stage: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401
        with turn if name == "report" else nullcontext():
            return stage(*arguments)

    return step


def _outcomes(
    mills: Sequence[Mill], results: Sequence[run.Outcome | BaseException]
) -> list[run.Outcome]:
    """Outcomes of all mills, or one error that names those that failed."""
    failed = [(m, r) for m, r in zip(mills, results, strict=True) if isinstance(r, BaseException)]
    if len(failed) == 1 and isinstance(failed[0][1], LostpolError):
        raise failed[0][1]
    if failed:
        raise DataError(
            said(
                "{failed} of {mills} mills could not be backfilled; the others were.",
                failed=len(failed),
                mills=len(mills),
            ),
            "\n".join(f"{mill.name}: {in_words(mill, error)}" for mill, error in failed),
            said("Put these right, then run the same command for them again."),
        ) from failed[0][1]
    return [result for result in results if isinstance(result, run.Outcome)]


@contextmanager
def _runner(cluster: Cluster) -> Iterator[Any]:
    """Prefect's task runner for a cluster; one of this machine is taken down afterwards.

    Raises
    ------
    ConfigError
        Dask is not installed, or the cluster does not answer.
    """
    with needing("cluster", said("command line")):
        import dask  # noqa: PLC0415
        from distributed import Client, LocalCluster  # noqa: PLC0415
        from prefect_dask.task_runners import DaskTaskRunner  # noqa: PLC0415
    logging.getLogger("distributed").setLevel(logging.ERROR)  # some fifty lines a run
    if cluster.address is not None:
        _await_answer(Client, cluster.address)
        yield DaskTaskRunner(address=cluster.address)
        return
    # Read before a worker's process starts, when numerical libraries look for it.
    with (
        dask.config.set({"distributed.nanny.pre-spawn-environ": ONE_THREAD}),
        LocalCluster(  # type: ignore[no-untyped-call]
            n_workers=cluster.workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
            silence_logs=logging.ERROR,
        ) as local,
    ):
        yield DaskTaskRunner(address=local.scheduler_address)


def _await_answer(client: Any, address: str) -> None:  # noqa: ANN401
    """See that a scheduler of Dask answers, before anything is sent to it.

    Raises
    ------
    ConfigError
        Nobody answers there, or nobody who speaks as Dask does.
    """
    try:
        client(address, timeout=_ANSWER_S).close()
    except Exception as error:
        # What another program answers there may be taken for anything, a length in exabytes too.
        raise ConfigError(
            said("No scheduler of a Dask cluster answers."),
            f"{address}: {type(error).__name__}",
            said(
                "Start one with: dask scheduler. Or correct [cluster] address or --scheduler, "
                "which look like tcp://host:8786; without one, processes of this machine are used."
            ),
        ) from error


class _Count:
    """Pieces asked for and done, of all mills together."""

    def __init__(self, progress: Progress) -> None:
        self._progress, self._lock = progress, Lock()
        self._done = self._all = 0

    def add(self, asked: int = 0, done: int = 0) -> None:
        with self._lock:
            self._all += asked
            self._done += done
            self._progress("Working on the cluster", self._done, self._all)


def _on_workers(
    work: Callable[..., object], pieces: Sequence[Piece], workers: int, count: _Count
) -> None:
    """Carry out pieces as tasks, and wait for all of them."""
    count.add(asked=len(pieces))
    versions = versions_here()
    waiting = []
    for batch in batches(pieces, workers):
        # As bytes: Prefect would search a description for futures, field by field.
        packed = pickle.dumps((work, list(batch)))
        name = f"{getattr(work, '__name__', 'work')} {batch[0][0].key} ({len(batch)})"
        waiting.append((len(batch), _batch.with_options(name=name).submit(packed, versions)))
    for size, future in waiting:
        future.result()
        count.add(done=size)


@task(cache_policy=NO_CACHE, persist_result=False)
def _batch(packed: bytes, versions: dict[str, str]) -> None:
    """Carry out a batch of pieces on a worker."""
    keep_private()  # a worker writes to the lake
    here = versions_here()
    odd = sorted(name for name in versions if versions[name] != here.get(name))
    if odd:
        told = [
            said("{name} {here}, not {wanted}", name=n, here=here.get(n), wanted=versions[n])
            for n in odd
        ]
        raise ConfigError(
            said("A worker of the cluster has other versions; its digits could differ."),
            said("process {pid}: {odd}", pid=os.getpid(), odd=joined(", ", told)),
            said("Install the same requirements-extras.lock on every machine of the cluster."),
        )
    work, pieces = pickle.loads(packed)  # made by this program, for its own workers
    for piece in pieces:
        work(*piece)
