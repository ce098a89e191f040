"""Scheduled runs.

Each flow is a chain of ``pipeline.run.order`` whose stages run as tasks. Paths and windows pass
between tasks, never frames. Which day is meant follows from the data, never from the clock, so a
run that starts late or again gives the same result.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any, Final

from prefect import flow, get_client, get_run_logger, serve, task
from prefect.cache_policies import NO_CACHE
from prefect.client.schemas.filters import (
    FlowRunFilter,
    FlowRunFilterState,
    FlowRunFilterStateType,
)
from prefect.client.schemas.objects import State, StateType, TaskRun
from prefect.deployments.runner import RunnerDeployment
from prefect.schedules import Cron
from prefect.settings import PREFECT_API_URL, temporary_settings
from prefect.states import Crashed
from prefect.tasks import Task
from prefect.types.entrypoint import EntrypointType

from pipeline import run
from pipeline.base import (
    ConfigError,
    DeliveryError,
    LakeError,
    LostpolError,
    StoreBusyError,
    keep_private,
    now,
    only_run,
)
from pipeline.mill import Mill, load_mill
from pipeline.schedule.server import SITES_OWN, Server, address_of, own_server, watch
from pipeline.words import said

#: Waits before another try [s]; only for what the outside world may put right by itself.
_WAITS_S: Final = [60.0, 300.0]
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
    keep_private()
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

    Raises
    ------
    ConfigError
        Two mills have the same key or store, or name different addresses for the server.
    """
    require_apart(mills)
    with scheduling_server(*address_of(mills)) as server:
        call_crashed(mills)
        threading.Thread(target=watch, args=(server,), daemon=True).start()
        serve(*deployments(mills))


def require_apart(mills: Sequence[Mill], in_what: Sequence[str] = ("key", "store", "lake")) -> None:
    """Refuse mills that cannot be told apart: one would replace or overwrite the other.

    Raises
    ------
    ConfigError
        Two mills have the same key, store or lake.
    """
    for word in in_what:
        attribute = {"key": "key", "store": "store_path", "lake": "lake_path"}[word]
        keys = [str(getattr(mill, attribute)) for mill in mills]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            whose = [str(m.config_path) for m, key in zip(mills, keys, strict=True) if key in twice]
            raise ConfigError(
                said("Two of the mills share one {word}.", word=word),
                f"{', '.join(twice)}: {', '.join(whose)}",
                said("Name each mill once, and give each a [mill] {word} of its own.", word=word),
            )


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


@contextmanager
def scheduling_server(host: str = "127.0.0.1", port: int = 0) -> Iterator[Server]:
    """Give a server that schedules: the site's own, or ours on this machine while it lasts.

    The temporary server that Prefect starts by itself never starts scheduled runs. Ours keeps its
    history in Prefect's home folder.

    Parameters
    ----------
    host, port : str, int
        Where ours listens; port 0 for any free one.

    Raises
    ------
    LostpolError
        The server did not start.
    """
    # The environment alone: a profile of Prefect's may name its usual port, where anybody may be.
    sites_own = os.environ.get(SITES_OWN)
    if sites_own:
        yield Server(sites_own.rstrip("/"))
        return
    with own_server(host, port) as server, _reached_at(server.url):
        yield server


@contextmanager
def _reached_at(url: str) -> Iterator[None]:
    """Tell this process and the runs it starts, which are processes of their own."""
    os.environ[SITES_OWN] = url
    try:
        with temporary_settings(updates={PREFECT_API_URL: url}):
            yield
    finally:
        del os.environ[SITES_OWN]
