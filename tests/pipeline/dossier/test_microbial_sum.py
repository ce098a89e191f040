"""Worked steps of a microbial finding: measured acid, or what all evidence leaves."""

import pytest

from pipeline.base import Said
from pipeline.dossier.tonnage import _microbial

ACCOUNT = {
    "kind": "microbial", "section": "liming_tank", "juice_kg": 3.8e6, "lactic_mg_kg": 300.0,
    "sucrose_per_lactic_kg_kg": 2.5, "lost_kg": 2850.0, "errors": [], "log_sd": 0.5,
}  # fmt: skip


def number(text):
    return float(text.replace(",", ""))


def test_without_lactic_acid_no_step_says_that_it_was_measured():
    steps = _microbial(ACCOUNT | {"by_lactic": False})
    juice, eaten, lost = (number(step.value) for step in steps)
    assert juice * eaten / 1e6 == pytest.approx(lost) == pytest.approx(2850.0)
    assert steps[1].mark != "measured" and "no lactic acid was measured" in steps[1].source


@pytest.mark.parametrize("key", [{"by_lactic": True}, {}])
def test_with_it_and_in_older_accounts_the_acid_is_a_step(key):
    steps = _microbial(ACCOUNT | key)
    assert [s.mark for s in steps][:2] == ["measured", "measured"]
    assert number(steps[-1].value) == pytest.approx(2850.0)


@pytest.mark.parametrize("key", [{}, {"by_lactic": False}])
def test_every_source_is_said_in_the_readers_tongue(key):
    """A plain text stays English on a page of another language."""
    for step in _microbial(ACCOUNT | key):
        assert not step.source or isinstance(step.source, Said), step.source
        assert isinstance(step.what, Said), step.what
