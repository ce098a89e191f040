"""LAPACK's solvers loaded by themselves, and as the package gives them where that does not go."""

import subprocess
import sys

import numpy as np
import pytest
from checkouts import ROOT
from scipy.linalg import lapack as package

from features.base import dpbtrf, dpbtrs, dtbtrs, lapack

ALONE = """
import sys
import features.base.lapack as alone
assert "scipy.linalg" not in sys.modules
from scipy.linalg import cholesky_banded, lapack
assert alone.dpbtrf is lapack.dpbtrf, "loaded twice"
"""


def test_the_routines_come_without_their_package_and_are_the_same():
    done = subprocess.run(
        [sys.executable, "-c", ALONE], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_package_gives_them_where_their_file_is_not_found(monkeypatch):
    monkeypatch.delitem(sys.modules, "scipy.linalg")
    monkeypatch.setattr(lapack, "find_spec", lambda name: None)
    assert lapack._routines() is package


@pytest.mark.parametrize("routines", [lapack, package])
def test_a_band_is_factored_and_solved(routines):
    band = np.array([[0.0, -1.0, -1.0], [3.0, 3.0, 3.0]])
    whole = 3.0 * np.eye(3) - np.eye(3, k=1) - np.eye(3, k=-1)
    factor, fault = routines.dpbtrf(band)
    found, _ = routines.dpbtrs(factor, np.arange(3.0))
    assert fault == 0
    assert found == pytest.approx(np.linalg.solve(whole, np.arange(3.0)), rel=1e-12)


def test_the_room_hands_them_out():
    assert (dpbtrf, dpbtrs, dtbtrs) == (lapack.dpbtrf, lapack.dpbtrs, lapack.dtbtrs)
