"""Four days of Brindlewater with ordinary swings, and a record of its third day."""

import numpy as np
import pytest

from features.replay import recorded

DAYS = 4
ROWS = DAYS * 1440


def swinging(grid, by):
    """Columns with slow swings of some sizes."""
    hours = np.arange(grid.height) / 60.0
    swings = {
        name: grid[name] + size * np.sin(2.0 * np.pi * hours / 7.3 + number)
        for number, (name, size) in enumerate(by.items())
    }
    return grid.with_columns(**swings)


@pytest.fixture(scope="session")
def inside():
    rows = np.zeros(ROWS, bool)
    rows[2 * 1440 : 3 * 1440] = True
    return rows


@pytest.fixture
def swung(nominal_grid):
    grid = nominal_grid(ROWS)
    return swinging(
        grid,
        {
            "flow_mixed_juice_m3_h": 15.0,
            "ph_liming_tank_out": 0.1,
            "temp_settler_inside_degc": 0.6,
            "level_clear_juice_tank_pct": 6.0,
        },
    )


@pytest.fixture
def record(swung, brindlewater, inside):
    return recorded(swung, brindlewater, inside)
