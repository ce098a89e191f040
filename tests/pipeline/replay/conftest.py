"""A mill with a few days searched, and hours of it."""

import shutil

import pytest

from pipeline.base import now
from pipeline.base.window import Window
from pipeline.mill.description import load_mill
from pipeline.period import period_of


@pytest.fixture(scope="session")
def mill(searched):
    return load_mill(searched / "demo_mill.toml")


@pytest.fixture(scope="session")
def hours(mill) -> Window:
    """A day that the station ran through."""
    return period_of("2025-10-10T00:00", "2025-10-11T00:00", mill.tz, now())


@pytest.fixture
def mine(tmp_path, searched):
    """A copy to work on."""
    shutil.copytree(searched, tmp_path / "mill")
    return load_mill(tmp_path / "mill" / "demo_mill.toml")
