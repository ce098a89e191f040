"""One way of running property tests everywhere: the same examples on every machine, no clock."""

import one_thread  # noqa: F401
import pytest
from hypothesis import HealthCheck, settings
from processes import pytest_configure, pytest_sessionfinish  # noqa: F401

# A busy machine draws slowly; that says nothing about the code under test.
settings.register_profile(
    "lostpol", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("lostpol")

# Helpers with asserts in them: a failed one is to show what it compared.
pytest.register_assert_rewrite("pulling")
