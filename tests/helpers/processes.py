"""Processes that end with the test that started them, whatever becomes of the test.

What a test starts may start more, in groups and sessions of its own, and outlive its mother. On
Linux all of it is found: as a descendant of this process, or by a mark in the environment that
every started process inherits. Elsewhere only the group of a command is ended.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

#: The longest that any test waits for a process [s]: a busy machine is slow, and no fault.
PATIENCE_S = 600.0
_NAME = "LOSTPOL_TESTS_STARTED_THIS"
_MARK = uuid4().hex
_PROC = Path("/proc")
#: Python's own, of which there is one for the whole session; it ends when its pipe is closed.
_MAY_STAY = ("multiprocessing.resource_tracker", "multiprocessing.forkserver")


def mark() -> None:
    """Let all that is started from now on be known as started here."""
    os.environ[_NAME] = f"{os.environ.get(_NAME, '')} {_MARK}".strip()


def started_here() -> set[int]:
    """Processes alive that this one, or one it started, has started; none where that is unknown."""
    mothers = dict(_mothers())
    found = {pid for pid in mothers if _MARK in _environment(pid).get(_NAME, "")}
    while more := {pid for pid, mother in mothers.items() if mother in found | {os.getpid()}}:
        if more <= found:
            break
        found |= more
    found.discard(os.getpid())
    return {pid for pid in found if not any(word in words(pid) for word in _MAY_STAY)}


def words(pid: int) -> str:
    """Command line of a process, empty when it is gone."""
    return " ".join(_strings(pid, "cmdline"))


def whose(pid: int) -> str:
    """Which test a process was started by, as far as its environment tells."""
    return _environment(pid).get("PYTEST_CURRENT_TEST", "a test that it does not name")


def end(pids: set[int]) -> None:
    """Kill processes, and wait until they are gone."""
    for pid in pids:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    give_up = time.monotonic() + 60.0
    while pids & dict(_mothers()).keys() and time.monotonic() < give_up:
        time.sleep(0.01)


@contextmanager
def nothing_left() -> Iterator[None]:
    """End whatever was started inside and has not ended by itself, also when the inside fails."""
    before = started_here()
    try:
        yield
    finally:
        end(started_here() - before)


@contextmanager
def ending(command: Sequence[object], **how: Any) -> Iterator[subprocess.Popen[Any]]:
    """Start a command; end it afterwards, with its group and all that it started."""
    with (
        nothing_left(),
        subprocess.Popen([str(word) for word in command], start_new_session=True, **how) as process,
    ):
        try:
            yield process
        finally:
            # An ended leader's group may still have members.
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)
            process.kill()


def ran(command: Sequence[object], limit_s: float = PATIENCE_S, **how: Any) -> tuple[int, str, str]:
    """Exit code, output and errors of a command; nothing of it is left, whatever happened."""
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with ending(command, **pipes | how) as process:
        try:
            said, errors = process.communicate(timeout=limit_s)
        except subprocess.TimeoutExpired as error:
            told = b"".join((error.stdout or b"", b"\n", error.stderr or b""))
            raise AssertionError(f"not done after {limit_s:.0f} s: {told[-2000:]!r}") from error
        return process.returncode, said, errors


def pytest_configure(config: object) -> None:
    """Mark what tests start; a session that is asked to end tears its tests down first."""
    mark()
    if sys.platform != "win32":
        signal.signal(signal.SIGTERM, signal.default_int_handler)


@pytest.hookimpl(trylast=True)  # of a session cut short, fixtures end only here
def pytest_sessionfinish(session: Any) -> None:
    """Fail a session whose tests left processes running, say which, and end them."""
    left = started_here()
    for pid in sorted(left):
        sys.stderr.write(f"\nLeft running: process {pid} ({words(pid)[:300]}) of {whose(pid)}\n")
    end(left)
    if left and session.exitstatus == 0:
        session.exitstatus = 1


def _mothers() -> Iterator[tuple[int, int]]:
    """Processes alive and the process each was started by; those that ended but are kept, not."""
    for folder in _PROC.glob("[0-9]*"):
        with suppress(OSError, IndexError):
            # The name, in brackets, may hold anything.
            after_name = (folder / "stat").read_text("utf-8", "replace").rpartition(")")[2]
            state, mother = after_name.split()[:2]
            if state not in "ZX":
                yield int(folder.name), int(mother)


def _environment(pid: int) -> dict[str, str]:
    pairs = (text.partition("=") for text in _strings(pid, "environ"))
    return {name: value for name, _, value in pairs}


def _strings(pid: int, name: str) -> list[str]:
    with suppress(OSError):
        return (_PROC / str(pid) / name).read_text("utf-8", "replace").split("\0")
    return []
