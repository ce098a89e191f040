"""Plain words for every cause, place and confidence."""

import pytest

from models.account.account import CHANNEL_DRIVERS
from models.amount.drivers import DRIVERS
from pipeline.words.causes import CAUSES, words_of
from pipeline.words.wording import (
    CHANNELS,
    SHARES,
    confidence_words,
    notice_words,
    place_within,
    section_words,
    status_words,
)

ALL_CAUSES = (
    "low_limed_ph",
    "ph_probe_high",
    "standing_juice",
    "slow_throughput",
    "overheating",
    "mud_held",
    "microbial",
    "tank_held",
    "clear_probe_low",
    "short_circuiting",
    "late_lime_reaction",
    "settler_infection",
    "invert_destruction",
    "unexplained",
)


@pytest.mark.parametrize("cause", ALL_CAUSES)
def test_every_cause_has_words_checks_and_a_caution(cause):
    words = CAUSES[cause]
    assert words.name
    assert "_" not in words.name
    assert words.meaning.endswith(".")
    assert 2 <= len(words.checks) <= 4
    assert words.cautions


def test_unknown_cause_is_shown_by_name_with_a_caution():
    words = words_of("<b>new_cause\x00")
    assert words.name == "Cause “<b>new cause\ufffd”"
    assert words.cautions


@pytest.mark.parametrize("word", ["open a valve yourself", "bypass", "override"])
def test_no_check_tells_anyone_to_act_on_a_control_system(word):
    text = " ".join(line for cause in CAUSES.values() for line in cause.checks).lower()
    assert word not in text


def test_sections():
    kinds = {"a": "settler", "clear_juice_tank": "clear_juice_tank", "tank_2": "liming_tank"}
    assert section_words("train", kinds) == "whole station"
    # As the mill calls it, and in the trade's words where it is called after its kind.
    assert section_words("a", kinds) == "a"
    assert section_words("a:mud", kinds) == "a, mud"
    assert section_words("clear_juice_tank", kinds) == "clear-juice tank"
    assert section_words("clear_juice_tank", {}) == "clear-juice tank"
    assert section_words("settler", {"settler": "flash_tank"}) == "settler"
    assert place_within("settler:mud") == "the mud of the settler"
    assert place_within("tank_2") == "the tank 2"
    assert section_words("tank_2", kinds) == "tank 2"
    assert section_words("", kinds) == "place not named"


@pytest.mark.parametrize(
    ("confidence", "said"),
    [
        (0.95, "almost sure (0.95)"),
        (0.8999, "almost sure (0.90)"),
        (0.78, "likely (0.78)"),
        (0.5, "more likely than not (0.50)"),
        (0.31, "possible (0.31)"),
        (0.0, "a weak hint (0.00)"),
        (7.0, "almost sure (1.00)"),
        (None, "not rated"),
    ],
)
def test_confidence_in_words_matches_the_number_shown(confidence, said):
    assert confidence_words(confidence) == said


def test_status_and_notices():
    assert status_words("open") == "still going on"
    assert status_words("odd_one") == "odd one"
    assert notice_words("stale_cane") == "Stale cane"
    assert notice_words("new_kind") == "New kind"


def test_every_driver_and_channel_of_the_search_has_words():
    assert set(DRIVERS) <= set(SHARES)
    assert set(CHANNEL_DRIVERS) <= set(CHANNELS)
