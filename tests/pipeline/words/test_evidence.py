"""Evidence is read with patience: damage is said, not raised."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.words.evidence import Share, read_evidence

WHOLE = {
    "facts": [
        {"text": "juice temperature", "value": 101.234, "unit": "degC"},
        {"text": "Limed pH was 6.95", "value": 6.95, "unit": "pH"},
        "a plain line",
        {"text": "no value"},
        {"text": "fifth", "value": 5},
    ],
    "shares": {"ph": 0.8, "temperature": -0.1, "brix": 0.001},
    "alternatives": [{"cause": "overheating", "weight": 0.2}, {"cause": "new_cause"}],
    "lab": ["LJ pH 6.9"],
    "ordinary_balance": "nothing seen",
}


def test_whole_evidence_in_words():
    held = read_evidence(json.dumps(WHOLE))
    assert held.facts == (
        "Juice temperature: 101.2 °C",
        "Limed pH was 6.95",
        "a plain line",
        "No value",
    )
    assert held.more_facts == 1
    assert held.shares == (Share("lower pH", 80), Share("higher temperature", -10))
    assert held.alternatives == (
        "Juice hotter than its target (20 % among the causes)",
        "Cause “new cause”",
    )
    assert (held.lab, held.balance, held.problem) == (("LJ pH 6.9",), "nothing seen", "")


def test_a_fact_stands_beside_its_usual_and_its_target():
    hot = {"text": "juice in the tank_1", "form": "juice in {place}", "parts": {"place": "tank_1"}}
    facts = [
        hot | {"value": 55.62, "unit": "degC", "usual": 72.0, "target": 72.0},
        {"text": "limed juice{tag}", "form": "limed juice{tag}", "parts": {"tag": " ({0})"}}
        | {"value": 6.953, "unit": "pH", "usual": 7.5},
        {"text": "pH falls between limed and clear juice by", "value": 0.62, "unit": "pH"}
        | {"usual": 0.5},
        {"text": "inverted", "value": 0.26, "low": -0.01, "high": 0.53, "unit": "%", "usual": 0.13},
    ]
    assert read_evidence(json.dumps({"facts": facts})).facts == (
        "Juice in the tank 1: 55.6 °C, usually 72, target 72",
        "Limed juice ({0}): pH 6.95, usually 7.5",
        "pH falls between limed and clear juice by 0.62 pH, usually 0.5",
        "Inverted: 0.26 % (-0.01 to 0.53, 90 % interval), usually 0.13 %",
    )


def test_absent_and_damaged_evidence_is_said():
    assert "No evidence" in read_evidence(None).problem
    assert "cannot be read" in read_evidence("{broken").problem
    assert "cannot be read" in read_evidence("[1, 2]").problem
    assert "cannot be read" in read_evidence("[" * 100_000).problem


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)
_KEYS = ("facts", "shares", "alternatives", "lab", "ordinary_balance")


# A thread that another test left behind may draw a random number meanwhile.
@pytest.mark.filterwarnings("ignore:Do not use the `random` module inside strategies")
@given(st.fixed_dictionaries({}, optional=dict.fromkeys(_KEYS, _JSON)))
def test_no_shape_of_evidence_breaks_the_report(content):
    assert read_evidence(json.dumps(content)).problem == ""


def test_what_cannot_be_calibrated_is_read_and_nothing_else():
    assert "ordinary hours are too few" in read_evidence('{"uncalibrated": "periods"}').uncalibrated
    for text in ('{"uncalibrated": "<b>"}', '{"uncalibrated": [1]}', "{}"):
        assert read_evidence(text).uncalibrated == ""
