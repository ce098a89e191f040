"""An import killed at random moments ends, with the next run, as if nobody had disturbed it."""

import importlib.util
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[1] / "benchmarks" / "kill_import.py"


@pytest.fixture(name="kill_import", scope="module")
def _kill_import():
    spec = importlib.util.spec_from_file_location("kill_import", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules["kill_import"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["kill_import"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such kill there")
def test_six_kills_leave_no_trace(kill_import, tmp_path):
    outcome = kill_import.disturb(tmp_path, kills=6, seed=3, rows=10_000)
    assert outcome.kills >= 6
    assert outcome.wrong == []
