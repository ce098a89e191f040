"""Runs in processes of their own, for kill_nightly.py: started at once, and killed when asked."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

#: How long a nightly run waits for a held database here [s].
PATIENCE_S = 1.0


class Runs:
    """Starts nightly runs quickly: copies of one process that has everything loaded already."""

    def __enter__(self) -> Runs:
        command = [sys.executable, __file__]
        # A group of its own, so that a run under way does not outlive a trial that failed.
        self._mother = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        if self._mother.stdout.readline() != "ready\n":
            self.__exit__()
            raise RuntimeError("the process that runs are copies of did not start")
        return self

    def __exit__(self, *_: object) -> None:
        os.killpg(self._mother.pid, signal.SIGKILL)  # it is our child: its number is not reused
        self._mother.__exit__(None, None, None)

    def start(self, store: Path, limit: int | None = None, what: str = "nightly") -> Runs:
        self._show({"store": str(store), "limit": limit, "what": what})
        self._child = int(self._mother.stdout.readline())
        return self

    def ended(self, after_s: float | None = None) -> int:
        """Exit code of the run, killed after a while."""
        if after_s is not None:
            until = time.monotonic() + after_s
            while time.monotonic() < until and not self._over():
                time.sleep(0.005)
            with suppress(ProcessLookupError):
                os.kill(self._child, signal.SIGKILL)
        self._show({"wait": True})
        return int(self._mother.stdout.readline())

    def _over(self) -> bool:
        """Whether the run ended by itself, where the system says so."""
        with suppress(OSError, IndexError):
            return (
                Path(f"/proc/{self._child}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
            )
        return False

    def _show(self, what: dict[str, object]) -> None:
        self._mother.stdin.write(json.dumps(what) + "\n")
        self._mother.stdin.flush()

    @staticmethod
    def errors(store: Path) -> str:
        path = store.parent / f"{store.name}.err"
        return path.read_text()[-1500:] if path.exists() else ""


def run_forked() -> int:
    """Be the process that the runs are copies of: load everything, work at nothing."""
    import altair  # noqa: F401
    import plutoprint  # noqa: F401

    from pipeline.run import order  # noqa: F401
    from pipeline.store import store  # noqa: F401

    answer = sys.stdout
    print("ready", file=answer, flush=True)
    child = 0
    for line in sys.stdin:
        asked = json.loads(line)
        if "wait" in asked:
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            print(code, file=answer, flush=True)
            continue
        child = os.fork()
        if child == 0:
            run_here(asked)
        print(child, file=answer, flush=True)
    return 0


def run_here(asked: dict[str, object]) -> None:
    """Do a run in this process, and end it."""
    store = Path(asked["store"])
    errors = os.open(store.parent / f"{store.name}.err", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(errors, 2)
    os.dup2(errors, 1)
    import pipeline.store as store_module
    from pipeline.cli.app import run

    patient = store_module.opened
    store_module.opened = lambda path, **how: patient(path, **how | {"patience_s": PATIENCE_S})
    if asked["limit"]:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (asked["limit"], asked["limit"]))
    code = 1
    try:
        code = run([asked["what"], str(store / "mill.toml")])
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


if __name__ == "__main__":
    sys.exit(run_forked())
