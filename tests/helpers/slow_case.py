"""One case of a test of many that is left to the slow ones: the others try the same way."""

from __future__ import annotations

from typing import Any

import pytest


def slow(*values: Any) -> Any:
    """Values of a parametrized test that only ``-m slow`` runs."""
    return pytest.param(*values, marks=pytest.mark.slow)
