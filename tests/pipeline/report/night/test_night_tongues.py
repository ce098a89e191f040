"""The night in other tongues."""

from dataclasses import replace

import pytest
from strange_tongue import STRANGE, left_in_english

from pipeline.report.night import compose_night
from pipeline.report.pages import page_of, text_of


@pytest.fixture
def strange(night):
    return replace(night, report=replace(night.report, tongue=STRANGE))


def test_nothing_of_a_night_stays_english(strange):
    parts = compose_night(strange)
    for t in (text_of("night", parts, STRANGE), page_of("night", parts, STRANGE)):
        print("\n".join(left_in_english(t)))
    assert 0
