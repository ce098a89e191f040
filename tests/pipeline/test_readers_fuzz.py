"""A short run of ``tests/benchmarks/fuzz_readers.py``: spoiled files give no fault."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "fuzz_readers.py"


def test_two_hundred_spoiled_files_give_no_fault():
    spec = importlib.util.spec_from_file_location("fuzz_readers", SCRIPT)
    fuzz = importlib.util.module_from_spec(spec)
    sys.modules["fuzz_readers"] = fuzz
    spec.loader.exec_module(fuzz)
    outcome = fuzz.run(200, seed=7, seconds=120.0)
    assert outcome["FAULT"] == 0
    assert outcome["read, lines counted"] > 50
    assert sum(outcome[word] for word in fuzz.WORDS) == 200
