"""No process outlives the test that started it, and a session in which one does fails.

Each way is tried in a session of its own, whose tests fail, stand still or are told to end.
"""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import processes
import pytest

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no /proc")

#: A process that starts another, which belongs to nobody once the first is gone.
MOTHER = """
import subprocess, sys, time
child = [sys.executable, "-c", "import time; time.sleep(600)"]
print(subprocess.Popen(child, start_new_session=True).pid, flush=True)
time.sleep(float(sys.argv[1]))
"""
HEAD = f"""
import os, subprocess, sys, time
from pathlib import Path
import processes, pytest
MOTHER = [sys.executable, "-c", {MOTHER!r}]
HERE = Path(__file__).parent

def told(process):
    child = process.stdout.readline()
    (HERE / "told").write_text(f"{{process.pid}} {{child}}")
"""
ENDING = """
def test_it():
    with processes.ending([*MOTHER, "600"], stdout=subprocess.PIPE, text=True) as process:
        told(process)
        {body}
"""
FIXTURE = """
@pytest.fixture(scope="session")
def running():
    with processes.ending([*MOTHER, "600"], stdout=subprocess.PIPE, text=True) as process:
        told(process)
        yield

def test_it(running):
    time.sleep(600)
"""
#: Known only to be a child of the session: a copy of it has no environment of its own.
FORKED = """
def test_it():
    child = os.fork()
    if not child:
        time.sleep(600)
    (HERE / "told").write_text(f"{child} {child}")
"""
ORPHANED = """
def test_it():
    with subprocess.Popen([*MOTHER, "0"], stdout=subprocess.PIPE, text=True) as process:
        told(process)
"""


@pytest.fixture
def session(tmp_path):
    """Command of a session of tests as told, and its environment."""

    def made(text):
        (tmp_path / "test_it.py").write_text(HEAD + text, encoding="utf-8")
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "processes",
            "-p",
            "no:cacheprovider",
        ]
        helpers = Path(processes.__file__).parent
        return [*command, "-c", os.devnull, "test_it.py"], {
            "cwd": tmp_path,
            "env": os.environ | {"PYTHONPATH": str(helpers)},
        }

    return made


def assert_all_gone(tmp_path):
    started = [int(pid) for pid in (tmp_path / "told").read_text().split()]
    assert len(started) == 2
    assert [processes.words(pid) for pid in started] == ["", ""]


@pytest.mark.slow
def test_what_a_failed_test_started_is_gone(session, tmp_path):
    command, how = session(ENDING.format(body="assert False"))
    code, said, _ = processes.ran(command, **how)
    assert (code, "1 failed" in said) == (1, True), said
    assert_all_gone(tmp_path)


@pytest.mark.slow
def test_what_a_session_started_is_gone_when_it_is_told_to_end(session, tmp_path):
    command, how = session(FIXTURE)
    with processes.ending(command, stderr=subprocess.PIPE, text=True, **how) as running:
        give_up = time.monotonic() + processes.PATIENCE_S
        while not (tmp_path / "told").exists() or not (tmp_path / "told").read_text().endswith(
            "\n"
        ):
            assert running.poll() is None
            assert time.monotonic() < give_up
            time.sleep(0.05)
        running.send_signal(signal.SIGTERM)
        _, errors = running.communicate(timeout=processes.PATIENCE_S)
        assert running.returncode == pytest.ExitCode.INTERRUPTED
        assert "Left running" not in errors
        assert_all_gone(tmp_path)


@pytest.mark.parametrize("text", [FORKED, ORPHANED], ids=["forked", "orphaned"])
def test_a_session_that_leaves_a_process_fails_and_names_the_test(session, tmp_path, text):
    command, how = session(text)
    code, said, errors = processes.ran(command, **how)
    assert (code, "1 passed" in said) == (1, True), said
    assert "Left running: process" in errors
    assert "test_it" in errors
    assert_all_gone(tmp_path)


def test_a_command_that_takes_too_long_is_ended():
    waiting = "import time; time.sleep(600)"
    before = processes.started_here()
    with pytest.raises(AssertionError, match="not done after 1 s"):
        processes.ran([sys.executable, "-c", waiting], limit_s=1.0)
    assert processes.started_here() == before
