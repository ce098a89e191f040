"""A short run of ``tests/benchmarks/fuzz_readers.py``: spoiled files give no fault."""

import pytest


@pytest.mark.slow
def test_two_hundred_spoiled_files_give_no_fault():
    import fuzz_readers as fuzz

    outcome = fuzz.run(200, seed=7, seconds=120.0)
    assert outcome["FAULT"] == 0
    assert outcome["read, lines counted"] > 50
    assert sum(outcome[word] for word in fuzz.WORDS) == 200
