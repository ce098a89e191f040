"""A nightly run killed, or out of disk, ends with the next one as if nothing had happened."""

import importlib.util
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[1] / "benchmarks" / "kill_nightly.py"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such kill there")
def test_a_disturbed_night_leaves_no_trace(tmp_path):
    spec = importlib.util.spec_from_file_location("kill_nightly", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules["kill_nightly"] = module
    try:
        spec.loader.exec_module(module)
        outcome = module.disturb(tmp_path, kills=1, full=1, held=0, seed=3)
    finally:
        del sys.modules["kill_nightly"]
    assert (outcome.kills, outcome.full) == (1, 1)
    assert outcome.looks > 0
    assert outcome.unread == []
    assert outcome.wrong == []
