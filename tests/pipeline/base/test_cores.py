"""Pieces over the cores of a machine: all done, whatever happens to a process."""

import os
import signal
import time
from pathlib import Path
from threading import Thread, main_thread

import pytest

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


def slow(folder, number):
    noted(folder, number)
    time.sleep(30)


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


def test_whoever_stops_it_does_not_wait(tmp_path):
    def stop():
        deadline = time.monotonic() + 20
        while not list(tmp_path.iterdir()) and time.monotonic() < deadline:
            time.sleep(0.05)
        signal.pthread_kill(main_thread().ident, signal.SIGINT)

    began = time.monotonic()
    Thread(target=stop).start()
    with pytest.raises(KeyboardInterrupt), over_cores(2) as spread:
        spread(slow, [(tmp_path, n) for n in range(8)], lambda _: None)
    assert time.monotonic() - began < 25  # a piece takes 30


def test_a_machine_short_of_memory_gets_one_process(monkeypatch):
    monkeypatch.setattr("pipeline.base.cores._memory_gib", lambda: 1.0)
    assert cores_here() == 1
