"""What several files of tests share."""

import pytest


@pytest.fixture(scope="session")
def prefect_server():
    """One temporary Prefect server for all tests that need one; it takes ten seconds to start."""
    # First, because it switches reporting to others off before Prefect reads its settings.
    from pipeline import flows  # noqa: F401, I001
    from prefect.testing.utilities import prefect_test_harness

    with prefect_test_harness(server_startup_timeout=120):
        yield
