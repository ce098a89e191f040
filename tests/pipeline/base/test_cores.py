"""Pieces over the cores of a machine: all done, whatever happens to a process."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from processes import PATIENCE_S, ending

from pipeline.base.cores import cores_here, over_cores
from pipeline.base.errors import DataError
from pipeline.base.spread import one_by_one


def noted(folder, number):
    (Path(folder) / str(number)).write_text(f"{os.getpid()} {os.environ.get('OMP_NUM_THREADS')}")


def failing(number):
    if number == 3:
        raise DataError("A day cannot be read.", "day 3", "Pull it again.")


def dying(folder, parent, number):
    """End the process it runs in, as a system short of memory does; never the one that asked."""
    if number == 1 and os.getpid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)
    noted(folder, number)


def of_all(folder):
    return {int(path.name): path.read_text().split() for path in Path(folder).iterdir()}


def test_pieces_are_shared_by_processes_of_one_thread_each(tmp_path, monkeypatch):
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)  # set here, it would be inherited
    told = []
    with over_cores(2) as spread:
        spread(noted, [(tmp_path, n) for n in range(8)], told.append)
    done = of_all(tmp_path)
    assert sorted(done) == list(range(8))
    assert {threads for _, threads in done.values()} == {"1"}
    assert str(os.getpid()) not in {process for process, _ in done.values()}
    assert told == list(range(9))


def test_few_pieces_and_one_process_stay_here(tmp_path):
    with over_cores(2) as spread:
        spread(noted, [(tmp_path, n) for n in range(3)], lambda _: None)
    assert {process for process, _ in of_all(tmp_path).values()} == {str(os.getpid())}
    with over_cores(1) as spread:
        assert spread is one_by_one


def test_an_error_of_a_piece_is_told_whole():
    with pytest.raises(DataError) as told, over_cores(2) as spread:
        spread(failing, [(n,) for n in range(8)], lambda _: None)
    assert (told.value.what, told.value.where) == ("A day cannot be read.", "day 3")


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")
def test_what_a_process_that_died_left_is_done_here(tmp_path):
    told = []
    with over_cores(2) as spread:
        spread(dying, [(tmp_path, os.getpid(), n) for n in range(8)], told.append)
        again = tmp_path / "again"
        again.mkdir()
        spread(noted, [(again, n) for n in range(8)], lambda _: None)  # and so is what comes after
    assert sorted(int(p.name) for p in tmp_path.iterdir() if p.is_file()) == list(range(8))
    assert told[-1] == 8
    assert {process for process, _ in of_all(again).values()} == {str(os.getpid())}


#: Eight pieces of ten minutes on two processes.
LONG = """
import sys, time
from pathlib import Path
from pipeline.base.cores import over_cores

def piece(folder, number):
    (Path(folder) / str(number)).write_text("")
    time.sleep(600)

if __name__ == "__main__":
    with over_cores(2) as spread:
        spread(piece, [(sys.argv[1], n) for n in range(8)], lambda _: None)
"""


def test_whoever_stops_it_does_not_wait(tmp_path):
    """In a process of its own: here, whatever else listens to Ctrl-C might take it for itself."""
    script, folder = tmp_path / "long.py", tmp_path / "done"
    folder.mkdir()
    script.write_text(LONG)
    with ending([sys.executable, script, folder], stderr=subprocess.PIPE, text=True) as run:
        give_up = time.monotonic() + PATIENCE_S
        while not list(folder.iterdir()):
            assert run.poll() is None and time.monotonic() < give_up
            time.sleep(0.05)
        os.kill(run.pid, signal.SIGINT)
        assert "KeyboardInterrupt" in run.communicate(timeout=60)[1]
        assert run.returncode != 0


def test_a_machine_short_of_memory_gets_one_process(monkeypatch):
    monkeypatch.setattr("pipeline.base.cores._memory_gib", lambda: 1.0)
    assert cores_here() == 1
