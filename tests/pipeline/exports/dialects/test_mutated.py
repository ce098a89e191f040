"""A short run of ``tests/benchmarks/mutate_exports.py``: spoiled exports give no fault."""

import pytest


@pytest.mark.slow
def test_sixty_spoiled_exports_give_no_fault():
    import mutate_exports

    outcome = mutate_exports.run(60, seed=7, apart=1)
    assert outcome["FAULT"] == 0
    assert outcome["read and counted"] >= 5
    assert outcome["refused whole"] >= 5
    assert sum(outcome[w] for w in ("read", "read and counted", "refused whole")) == 60
