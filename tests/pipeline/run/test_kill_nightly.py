"""A nightly run killed, or out of disk, ends with the next one as if nothing had happened."""

import sys

import pytest


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such kill there")
def test_a_disturbed_night_leaves_no_trace(tmp_path):
    from kill_nightly import disturb  # needs what only systems with such a kill have

    outcome = disturb(tmp_path, kills=1, full=1, held=0, seed=3)
    assert (outcome.kills, outcome.full) == (1, 1)
    assert outcome.looks > 0
    assert outcome.unread == []
    assert outcome.wrong == []
