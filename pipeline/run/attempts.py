"""An attempt at a run: alone on the store, each stage timed and counted, failures told.

What is kept goes to the table ``stages`` and to the log (``pipeline.run.log``). Neither keeping
stops a run. An attempt that ends without its report is told of by mail, once a day and kind.
"""

from __future__ import annotations

import os
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from pipeline.base import DeliveryError, LostpolError, full_disk, now, only_run
from pipeline.mill import Mill
from pipeline.run.alerts import alert_failure
from pipeline.run.log import log_event, rotate, without_secrets
from pipeline.store import store_of
from pipeline.words import said

#: Runs one stage: its name, the stage, its arguments.
Step = Callable[..., Any]
_MINUTES_A_DAY: Final = 1440


@dataclass(slots=True)
class _Attempt:
    """What is known of an attempt so far."""

    mill: Mill
    flow: str
    inner: Step
    started_at: datetime = field(default_factory=now)
    clock_s: float = field(default_factory=time.monotonic)
    run_id: str | None = None
    #: Rows of exports read so far; only this run adds to them while it holds the store.
    read: int | None = None
    rows: list[dict[str, Any]] = field(default_factory=list)

    @property
    def name(self) -> str:
        return f"{self.started_at:%Y%m%dT%H%M%S.%fZ}-{os.getpid()}"

    @property
    def reported(self) -> bool:
        """Whether the report was written."""
        return any(row["stage"] == "report" and row["state"] == "finished" for row in self.rows)

    def step(self, name: str, stage: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401
        """Run a stage as asked for, timed and counted."""
        if name == "report":
            self.save()  # its own line of health tells of the stages before it
        at, clock_s = now(), time.monotonic()
        reads = name == "pull" or (name == "sources" and bool(self.mill.sources))
        if reads and self.read is None:
            self.read = self._readings()
        try:
            result = self.inner(name, stage, *arguments)
        except BaseException as error:
            self.read = None
            self._add(name, at, clock_s, error=error)
            raise
        self.run_id = getattr(result, "run_id", self.run_id)
        self._add(name, at, clock_s, *self._counted(name, result, reads=reads))
        return result

    def _counted(self, name: str, result: object, *, reads: bool) -> tuple[int | None, str | None]:
        """How many rows a stage dealt with, and of what."""
        if name in {"pull", "sources"}:
            before = self.read or 0
            self.read = self._readings() if reads else self.read
            return (self.read or 0) - before, "readings"
        if name == "derive" and isinstance(result, int):
            return result * _MINUTES_A_DAY, "minutes"
        window = getattr(result, "window", None)
        if name == "detect" and window is not None:
            return int((window.end - window.start).total_seconds() // 60), "minutes"
        return None, None

    def _readings(self) -> int:
        """Rows of exports read so far."""
        store = store_of(self.mill)
        return int(store.sources()["rows_read"].sum()) if store.path.exists() else 0

    def _add(
        self,
        name: str,
        at: datetime,
        clock_s: float,
        count: int | None = None,
        kind: str | None = None,
        error: BaseException | None = None,
    ) -> None:
        row = {
            "attempt": self.name,
            "number": len(self.rows) + 1,
            "flow": self.flow,
            "stage": name,
            "started_at": at,
            "took_s": round(time.monotonic() - clock_s, 3),
            "row_count": count,
            "row_kind": kind,
            "state": "failed" if error else "finished",
            "error": in_words(self.mill, error) if error else None,
        }
        self.rows.append(row)
        parts = {k: v for k, v in row.items() if k != "number" and v is not None}
        log_event(self.mill, "stage", **parts, run_id=self.run_id)

    def save(self, *, over: bool = False) -> None:
        """Keep the stages so far, and once the attempt ended the whole."""
        rows = [row | {"run_id": self.run_id} for row in self.rows]
        try:
            store_of(self.mill).record_stages(rows, over=over)
        except (LostpolError, OSError) as error:
            log_event(
                self.mill, "stages not kept", attempt=self.name, error=in_words(self.mill, error)
            )

    def end(self, error: BaseException | None) -> None:
        """Keep how the attempt ended."""
        failed = error is not None and not self.reported
        whole = {
            "attempt": self.name,
            "number": 0,
            "flow": self.flow,
            "stage": "whole",
            "started_at": self.started_at,
            "took_s": round(time.monotonic() - self.clock_s, 3),
            "state": "failed" if failed else "finished",
            "error": in_words(self.mill, error) if error else None,
        }
        self.rows.append(whole)
        parts = {k: v for k, v in whole.items() if k not in {"number", "stage"} and v is not None}
        log_event(self.mill, "run ended", **parts, run_id=self.run_id)
        self.save(over=True)


@contextmanager
def attempt(
    mill: Mill, flow: str, step: Step, wait_s: float = 0.0, *, notice: bool = True
) -> Iterator[Step]:
    """Hold the store for one run, and give what runs its stages.

    Parameters
    ----------
    flow : str
        nightly, weekly or backfill.
    step : callable
        Runs one stage.
    wait_s : float
        How long to wait for another run on the same store [s].
    notice : bool
        It is a scheduled run: tell those who get the reports, by mail, when there will be none,
        and stop it at the time limit of the description.

    Raises
    ------
    LostpolError
        The time limit was reached.
    StoreBusyError
        Another run holds the store.
    DiskError
        The disk is full or takes no writing.
    """
    kept: _Attempt | None = None
    try:
        with only_run(mill, wait_s):
            kept = _Attempt(mill, flow, step)
            rotate(mill)
            log_event(mill, "run started", flow=flow, attempt=kept.name)
            try:
                # Whatever says that it runs was stopped: we hold the lock.
                store_of(mill).settle_stopped()
                with _time_limit(mill.schedule.longest_run_min if notice else None):
                    yield kept.step
            except BaseException as error:
                kept.end(error)
                raise
            kept.end(None)
    except BaseException as error:
        full = full_disk(error, mill.store_path)
        if kept is None:
            log_event(mill, "run not started", flow=flow, error=in_words(mill, error))
        if notice and not (kept and kept.reported) and not isinstance(error, DeliveryError):
            alert_failure(mill, flow, full or error)
        if full is not None and full is not error:
            raise full from error
        raise


@contextmanager
def _time_limit(minutes: int | None) -> Iterator[None]:
    """Stop what takes too long, where the system can; a library at work ends its call first."""
    able = hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()
    if minutes is None or not able:
        yield
        return

    def stop(_number: int, _frame: object) -> None:
        raise LostpolError(
            said(
                "The run took longer than its limit of {minutes} min, and was stopped.",
                minutes=minutes,
            ),
            "[schedule] longest_run_min",
            said(
                "See what is slow with lostpol health and the table stages; raise the limit if it "
                "is too short. The next run makes good what is missing."
            ),
        )

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, 60.0 * minutes)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def in_words(mill: Mill, error: BaseException) -> str:
    """An error in one line, without secrets; of a fault of our own, with its place in the code."""
    if isinstance(error, LostpolError):
        text = f"{type(error).__name__}: {error.what} ({error.where})"
    else:
        frames = traceback.extract_tb(error.__traceback__)
        place = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
        text = f"{type(error).__name__}: {error}{place}"
    return without_secrets(mill, " ".join(text.split()))[:1000]
