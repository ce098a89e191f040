"""What resembles what: properties of the distance, and the order of the list."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.account.similarity import WEIGHTS, Episode, likeness, similar

START = datetime(2025, 10, 6, tzinfo=UTC)


def episode(name="a", hours=10.0, lost_t=1.0, **other):
    fields = {
        "finding_id": name,
        "section": "settler",
        "causes": {"low_limed_ph": 0.9, "ph_probe_high": 0.1},
        "shares": {"ph": 0.9, "temperature": 0.1},
        "started": START,
        "ended": START + timedelta(hours=hours),
        "lost_t": lost_t,
    }
    return Episode(**(fields | other))


names = st.sampled_from(["ph", "temperature", "volume", "brix"])
episodes = st.builds(
    episode,
    name=st.text("abc", min_size=1, max_size=3),
    hours=st.floats(0.1, 200),
    lost_t=st.floats(0.01, 50),
    section=st.sampled_from(["settler", "train"]),
    causes=st.dictionaries(names, st.floats(0, 1), max_size=3),
    shares=st.dictionaries(names, st.floats(-1, 1), max_size=4),
)


@given(episodes, episodes)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_distance_is_bounded_even_handed_and_zero_to_itself(one, other):
    there, back = likeness(one, other), likeness(other, one)
    assert 0 <= there.distance <= 1 + 1e-9
    assert there.distance == pytest.approx(back.distance, abs=1e-9)
    assert likeness(one, one).distance == pytest.approx(0, abs=1e-9)
    assert there.distance == pytest.approx(
        sum(WEIGHTS[name] * part for name, part in there.parts.items())
    )


def test_weights_sum_to_one():
    assert sum(WEIGHTS.values()) == pytest.approx(1)


def test_each_difference_by_hand():
    one = episode()
    other = episode(
        "b", hours=20, lost_t=0.1, section="train", causes={"overheating": 1.0}, shares={"ph": 1.0}
    )
    found = likeness(one, other)
    # Shares: half of |0.9 - 1| + |0.1 - 0|; ratio 10 in tonnes is as far as it goes; length by 2.
    assert found.parts == pytest.approx(
        {"drivers": 0.1, "cause": 1.0, "section": 1.0, "size": 1.0, "length": 0.30103}, abs=1e-5
    )
    assert found.size_ratio == pytest.approx(0.1)
    assert found.length_ratio == pytest.approx(2.0)


def test_the_nearest_come_first_and_strangers_do_not_come():
    one = episode("one")
    twin = episode("twin", hours=12)
    kin = episode("kin", hours=30, lost_t=3, section="liming_tank")
    stranger = episode("s", causes={"microbial": 1.0}, shares={"microbes": 1.0}, section="train")
    found = similar(one, [stranger, kin, one, twin])
    assert [item.episode.finding_id for item in found] == ["twin", "kin"]
    assert similar(one, [kin, twin], most=1)[0].episode == twin


def test_equal_distances_are_settled_by_time_then_name():
    one = episode("one")
    late = replace(one, finding_id="a", started=START + timedelta(days=9),
                   ended=START + timedelta(days=9, hours=10))  # fmt: skip
    early, twin = replace(one, finding_id="z"), replace(one, finding_id="y")
    found = similar(one, [late, early, twin])
    assert [item.episode.finding_id for item in found] == ["y", "z", "a"]


def test_unknown_size_and_unknown_drivers_do_not_stop_it():
    odd = episode("odd", lost_t=float("nan"), shares={}, causes={})
    found = likeness(episode(), odd)
    assert found.parts["size"] == 0.5
    assert found.parts["drivers"] == 1.0
    assert likeness(odd, odd).parts["drivers"] == 0.0
