"""An import killed at random moments ends, with the next run, as if nobody had disturbed it."""

import sys

import kill_import
import pytest


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such kill there")
def test_six_kills_leave_no_trace(tmp_path):
    outcome = kill_import.disturb(tmp_path, kills=6, seed=3, rows=10_000)
    assert outcome.kills >= 6
    assert outcome.wrong == []
