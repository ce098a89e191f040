"""Scheduled runs.

Each flow is a chain of ``pipeline.run.order`` whose stages run as tasks. Paths and windows pass
between tasks, never frames. Which day is meant follows from the data, never from the clock, so a
run that starts late or again gives the same result.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Final

from prefect import flow, get_client, get_run_logger, serve, task
from prefect.cache_policies import NO_CACHE
from prefect.client.schemas.filters import FlowRunFilter, FlowRunFilterState, FlowRunFilterStateType
from prefect.client.schemas.objects import State, StateType, TaskRun
from prefect.deployments.runner import RunnerDeployment
from prefect.schedules import Cron
from prefect.states import Crashed
from prefect.tasks import Task
from prefect.types.entrypoint import EntrypointType

from pipeline import run
from pipeline.base import DeliveryError, LakeError, LostpolError, StoreBusyError, now, only_run
from pipeline.mill import Mill, load_mill
from pipeline.schedule.server import answers, scheduling_server

#: Waits before another try [s]; only for what the outside world may put right by itself.
_WAITS_S: Final = [60.0, 300.0]
#: How often a served mill's server is looked for [s], and how often in a row it may be missed.
_LOOK_S: Final = 10.0
_MOST_MISSED: Final = 6
_CRON_DAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@flow(name="nightly", log_prints=False)
def nightly(mill_path: str) -> str:
    """Make the nightly report; gives its path."""
    return _run(lambda m: run.nightly(m, step_as_task, wait_s=_wait_s(m)), mill_path)


@flow(name="weekly", log_prints=False)
def weekly(mill_path: str) -> str:
    """Make the weekly report; gives its path."""
    return _run(lambda m: run.weekly(m, step_as_task, wait_s=_wait_s(m)), mill_path)


@flow(name="backfill", log_prints=False)
def backfill(mill_path: str, first: date | None = None, last: date | None = None) -> str:
    """Work out local days `first` to `last` anew, search and report; gives the report's path."""
    return _run(lambda mill: run.backfill(mill, first, last, step_as_task), mill_path)


def _wait_s(mill: Mill) -> float:
    """How long a run waits for another one on the same store [s]."""
    return 60.0 * mill.schedule.wait_min


def _run(chain: Callable[[Mill], run.Outcome], mill_path: str) -> str:
    """Run a chain; an error is written to the run's log in plain words before it fails the run."""
    try:
        return str(chain(load_mill(Path(mill_path))).report)
    except LostpolError as error:
        get_run_logger().error("%s", error)
        raise


def step_as_task(name: str, stage: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401
    """Run one stage as a task. Nothing is cached: the lake itself knows what changed.

    Tried again is only what the outside world may put right by itself (`_may_pass`).
    """
    as_task = task(
        name=name,
        cache_policy=NO_CACHE,
        persist_result=False,
        retries=len(_WAITS_S),
        retry_delay_seconds=_WAITS_S,
        retry_condition_fn=_may_pass,
    )(stage)
    return as_task(*arguments)


def _may_pass(_task: Task[..., Any], _run: TaskRun, state: State[Any]) -> bool:
    """Tell whether another try may help: a held store, a lake or mail server away, no bad data."""
    error = state.result(raise_on_failure=False)
    return isinstance(error, StoreBusyError | LakeError | DeliveryError)


def deployments(mills: Sequence[Mill]) -> list[RunnerDeployment]:
    """Nightly and weekly deployments of each mill, at the mill's own local times."""
    return [
        _deployment(mill, kind, cron)
        for mill in mills
        for kind, cron in (("nightly", _nightly_cron(mill)), ("weekly", _weekly_cron(mill)))
    ]


def _deployment(mill: Mill, kind: str, cron: str) -> RunnerDeployment:
    chosen = {"nightly": nightly, "weekly": weekly}[kind]
    made = chosen.to_deployment(
        name=f"{mill.key}-{kind}",
        schedule=Cron(cron, timezone=mill.zone),
        parameters={"mill_path": str(mill.config_path)},
        # By path, a run would load this file as a top-level module with pipeline/ on sys.path.
        entrypoint_type=EntrypointType.MODULE_PATH,
    )
    if not isinstance(made, RunnerDeployment):
        raise TypeError("to_deployment must be called outside an event loop")
    return made


def _nightly_cron(mill: Mill) -> str:
    hour, minute = mill.schedule.nightly.split(":")
    return f"{int(minute)} {int(hour)} * * *"


def _weekly_cron(mill: Mill) -> str:
    hour, minute = mill.schedule.weekly.split(":")
    weekday = (_CRON_DAYS.index(mill.schedule.weekly_day) + 1) % 7
    return f"{int(minute)} {int(hour)} * * {weekday}"


def serve_mills(mills: Sequence[Mill]) -> None:
    """Stay running and start each mill's runs when they are due.

    Two runs on one store never overlap: each takes the store's own lock (``pipeline.base.lock``),
    which a crash cannot leave behind.
    """
    with scheduling_server() as url:
        call_crashed(mills)
        threading.Thread(target=_watch, args=(url,), daemon=True).start()
        serve(*deployments(mills))


def _watch(url: str) -> None:
    """End this process when its server is gone: without one, nothing is started ever again.

    What keeps services running sees that and starts it anew. A run at work is a process of its
    own, and goes on to its end.
    """
    missed = 0
    while missed < _MOST_MISSED:
        time.sleep(_LOOK_S)
        missed = 0 if answers(url) else missed + 1
    error = LostpolError(
        "The server that schedules runs is gone, so no run would be started any more.",
        url,
        "Start lostpol serve again; as a service it is started by itself (configs/schedule).",
    )
    sys.stderr.write(f"{error}\n")
    sys.stderr.flush()
    # The server's own client waits for it in other threads, and would hold up an orderly end.
    os._exit(error.exit_code)


def call_crashed(mills: Sequence[Mill], oldest_s: float = 60.0) -> int:
    """Tell the server that runs which were killed are over; gives how many there were.

    A killed process cannot say so itself, and its runs would seem to go on for ever. A run that
    goes on holds the lock of its store, or takes it as soon as that is free.

    Parameters
    ----------
    oldest_s : float
        Younger runs may not have taken the lock yet [s].
    """
    going_on = FlowRunFilter(
        state=FlowRunFilterState(type=FlowRunFilterStateType(any_=[StateType.RUNNING]))
    )
    stopped: State[Any] = Crashed(
        message="Its process was stopped; the next run makes good what is missing."
    )
    by_path = {str(mill.config_path): mill for mill in mills}
    over = 0
    with get_client(sync_client=True) as client:
        for run in client.read_flow_runs(flow_run_filter=going_on):
            mill = by_path.get(run.parameters.get("mill_path", ""))
            age_s = (now() - run.start_time).total_seconds() if run.start_time else oldest_s
            if mill is not None and age_s >= oldest_s and not _at_work(mill):
                client.set_flow_run_state(run.id, stopped, force=True)
                over += 1
    return over


def _at_work(mill: Mill) -> bool:
    try:
        with only_run(mill):
            return False
    except LostpolError:
        return True
