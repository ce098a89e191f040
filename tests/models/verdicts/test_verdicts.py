"""What verdicts teach: by the textbook, within bounds, and without a trace once taken back."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.verdicts.verdicts import (
    LARGE_T,
    LEAST_FACTOR,
    LEAST_FACTOR_LARGE,
    MOST_STRICTER,
    Lesson,
    as_found,
    learn,
    with_verdicts,
)

CAUSES = ("low_limed_ph", "ph_probe_high", "overheating", "unexplained")
NO_LESSONS = learn([])


def a_verdict(verdict="dismissed", cause="overheating", section="settler", found_cause=None):
    return {"verdict": verdict, "cause": cause, "section": section, "found_cause": found_cause}


def a_finding(cause="overheating", section="settler", alternatives=(), **other):
    evidence = {
        "facts": [{"text": "juice temperature", "unit": "degC", "value": 101.5}],
        "alternatives": [{"cause": c, "weight": w} for c, w in alternatives],
        "shares": {"temp": 1.0},
    }
    row = {"finding_id": "abcdef0123", "section": section, "cause": cause, "lost_t": 1.2}
    row |= {"lost_t_low": 0.6, "lost_t_high": 2.0, "confidence": 0.813, "verdict": None}
    return row | {"mark": "confident", "evidence": json.dumps(evidence, sort_keys=True)} | other


def own(verdict, lost_t=1.2, found_cause=None, went_on=False):
    told = {"verdict": verdict, "found_cause": found_cause, "lost_t": lost_t}
    return told | {"went_on": went_on, "words": f"{verdict} by Ana on 2025-11-30: looked"}


def told_by(row):
    return json.loads(row["evidence"])["verdicts"]["told"]


def test_beta_update_is_the_textbook_one():
    # Beta(3.6, 0.4) after 1 real and 2 dismissed is Beta(4.6, 2.4): mean 4.6 / 7
    # (conjugate update, Gelman et al., Bayesian Data Analysis, section 2.4; memory).
    lessons = learn([a_verdict("confirmed"), a_verdict(), a_verdict()])
    assert lessons.of("overheating", "settler").reliability == pytest.approx(4.6 / 7.0)


def test_verdicts_elsewhere_are_the_prior_of_a_section():
    elsewhere = [a_verdict(section="flash_tank")] * 4  # mean 3.6 / 8 = 0.45
    lessons = learn([*elsewhere, a_verdict("fixed")])
    assert lessons.of("overheating", "settler").reliability == pytest.approx((4 * 0.45 + 1) / 5)
    assert lessons.of("overheating", "tank").reliability == pytest.approx(4.6 / 9)
    assert lessons.of("mud_held", "settler").reliability == pytest.approx(0.9)


def test_odds_make_significance_stricter():
    # Reliability 0.45 for 0.9: odds fall from 9 to 0.818, so eleven times stricter, capped at ten.
    assert Lesson(0, 4, 0.45).stricter() == MOST_STRICTER
    assert Lesson(0, 1, 0.72).stricter() == pytest.approx(9.0 / (0.72 / 0.28))
    assert Lesson(9, 0, 0.97).stricter() == 1.0


def test_without_verdicts_a_finding_is_the_same():
    row = a_finding(alternatives=[("mud_held", 0.2)])
    assert with_verdicts(row, NO_LESSONS, None, 0.05) == row


def test_dismissals_lower_confidence_of_the_kind_and_say_so():
    row = with_verdicts(a_finding(), learn([a_verdict()]), None)
    assert row["confidence"] == pytest.approx(0.813 * 0.72 / 0.9, abs=5e-4)
    assert told_by(row) == [
        "of findings of this kind 0 proved real and 1 did not: confidence 0.81 became 0.65"
    ]
    assert json.loads(row["evidence"])["facts"][-1]["text"] == told_by(row)[0]


def test_a_kind_without_verdicts_is_left_alone():
    row = a_finding("mud_held")
    assert with_verdicts(row, learn([a_verdict()] * 5), None) == row


def test_the_strict_mark_needs_more_where_a_kind_is_dismissed():
    lessons = learn([a_verdict()] * 2)
    weak, strong = a_finding(q_value=0.02), a_finding(q_value=1e-6)
    assert with_verdicts(weak, lessons, None, 0.05)["mark"] == "listed"
    assert with_verdicts(strong, lessons, None, 0.05)["mark"] == "confident"
    large = a_finding(q_value=0.02, lost_t_low=LARGE_T)
    assert with_verdicts(large, lessons, None, 0.05)["mark"] == "confident"


def test_causes_found_on_the_floor_weigh_more():
    on_the_floor = a_verdict("confirmed", "low_limed_ph", "liming_tank", "ph_probe_high")
    lessons = learn([on_the_floor] * 3)
    row = a_finding("low_limed_ph", "settler", [("ph_probe_high", 0.3)])
    after = with_verdicts(row, lessons, None)
    # 0.7 x 4/7 against 0.3 x 7/4.
    share = 0.3 * 7 / 4 / (0.7 * 4 / 7 + 0.3 * 7 / 4)
    assert after["cause"] == "ph_probe_high"
    assert json.loads(after["evidence"])["alternatives"] == [
        {"cause": "low_limed_ph", "weight": round(1 - share, 2)}
    ]
    assert "ph_probe_high now weighs most" in told_by(after)[0]
    assert as_found(after) == row


def test_own_verdicts_mark_the_finding():
    dismissed = with_verdicts(a_finding(), NO_LESSONS, own("dismissed"))
    assert (dismissed["verdict"], dismissed["confidence"]) == ("dismissed", 0.813)
    confirmed = with_verdicts(a_finding(), NO_LESSONS, own("confirmed", found_cause="mud_held"))
    assert (confirmed["verdict"], confirmed["confidence"]) == ("confirmed", 0.99)
    assert confirmed["cause"] == "mud_held"
    assert "the search had named overheating" in told_by(confirmed)


def test_what_a_person_confirmed_is_not_renamed_by_other_verdicts():
    lessons = learn([a_verdict("confirmed", "low_limed_ph", "settler", "ph_probe_high")] * 5)
    row = a_finding("low_limed_ph", "settler", [("ph_probe_high", 0.45)])
    assert with_verdicts(row, lessons, None)["cause"] == "ph_probe_high"
    assert with_verdicts(row, lessons, own("confirmed"))["cause"] == "low_limed_ph"


def test_a_dismissed_loss_that_grows_is_shown_again():
    grown = with_verdicts(a_finding(lost_t=9.0), NO_LESSONS, own("dismissed", lost_t=1.2))
    assert grown["verdict"] == "look_again"
    assert "it was 1.20 t then and is 9.00 t now" in told_by(grown)[-1]
    on = with_verdicts(a_finding(), NO_LESSONS, own("fixed", went_on=True))
    assert on["verdict"] == "look_again"


def test_an_unknown_verdict_is_a_mistake():
    with pytest.raises(ValueError, match="unknown verdict"):
        learn([a_verdict("perhaps")])


def test_confidence_comes_nearer_to_what_is_borne_out():
    """Two kinds that the search believes alike, one of them real three times in ten."""
    draw = np.random.default_rng(11)
    chance = {"overheating": 0.3, "mud_held": 0.95}
    gains = []
    for _ in range(200):
        kinds = draw.choice(list(chance), 40)
        real = [draw.random() < chance[kind] for kind in kinds]
        seen = [
            a_verdict("confirmed" if ok else "dismissed", str(kind))
            for kind, ok in zip(kinds[:20], real[:20], strict=True)
        ]
        rows = [a_finding(str(kind), confidence=0.9) for kind in kinds[20:]]
        after = [with_verdicts(row, learn(seen), None)["confidence"] for row in rows]
        truth = np.array(real[20:], dtype=float)
        # Brier score: mean square of confidence less outcome.
        gains.append(((0.9 - truth) ** 2).mean() - ((np.array(after) - truth) ** 2).mean())
    assert np.mean(gains) > 0.1
    assert np.mean(np.array(gains) > 0) > 0.95


verdicts = st.lists(
    st.builds(
        a_verdict,
        st.sampled_from(["confirmed", "dismissed", "fixed"]),
        st.sampled_from(CAUSES),
        st.sampled_from(["settler", "train"]),
        st.one_of(st.none(), st.sampled_from(CAUSES)),
    ),
    max_size=30,
)
findings = st.builds(
    a_finding,
    st.sampled_from(CAUSES[:3]),
    st.sampled_from(["settler", "train"]),
    st.sampled_from([(), (("unexplained", 0.4),), (("unexplained", 0.2), ("mud_held", 0.15))]),
    lost_t_low=st.floats(0.0, 50.0),
    confidence=st.integers(0, 990).map(lambda n: n / 1000),
    q_value=st.floats(0.0, 0.05),
)
owns = st.one_of(st.none(), st.builds(own, st.sampled_from(["confirmed", "dismissed", "fixed"])))


@given(verdicts, findings, owns)
def test_nothing_is_hidden_and_everything_can_be_taken_back(given_verdicts, row, mine):
    after = with_verdicts(row, learn(given_verdicts), mine, 0.05)
    large = row["lost_t_low"] >= LARGE_T
    least = LEAST_FACTOR_LARGE if large else LEAST_FACTOR
    assert after["confidence"] >= least * row["confidence"] - 5e-4
    assert after["confidence"] <= max(row["confidence"], 0.99)
    assert (after["lost_t"], after["lost_t_low"]) == (row["lost_t"], row["lost_t_low"])
    if large:
        assert after["mark"] == row["mark"]
    if after != row:
        assert told_by(after)
    assert as_found(after) == row


@given(verdicts, findings)
def test_one_more_dismissal_never_makes_a_kind_surer(given_verdicts, row):
    more = [*given_verdicts, a_verdict("dismissed", row["cause"], row["section"])]
    before = learn(given_verdicts).of(row["cause"], row["section"])
    after = learn(more).of(row["cause"], row["section"])
    assert after.reliability < before.reliability
    assert learn(list(reversed(more))).of(row["cause"], row["section"]) == after
