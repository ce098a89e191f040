"""Losses that overlap, findings that name two causes, marks by shape and by what mills have."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from models.judge.card import pooled
from models.judge.marks import owners
from models.judge.nightly import NightlyList
from models.judge.scorecard import SCORED_SCHEMA, score
from models.judge.text import parts_as_text, traits_as_text
from models.judge.together import causes_named, parted
from models.judge.traits import by_trait, microbial_by_lactic

T0 = datetime(2025, 10, 6, tzinfo=UTC)


def at(hours):
    return T0 + timedelta(hours=hours)


def truth(*rows):
    columns = ["event", "kind", "cause", "start_utc", "end_utc", "lost_t", "shape", "kin"]
    full = [(i, "loss", c, at(a), at(b), t, s, k) for i, (c, a, b, t, s, k) in enumerate(rows, 1)]
    return pl.DataFrame(full, schema=columns, orient="row")


def findings(*rows, evidence=()):
    full = [(c, at(a), at(b), t, 0.5 * t, 2 * t, i, 0.9) for i, (c, a, b, t) in enumerate(rows, 1)]
    frame = pl.DataFrame(full, schema=SCORED_SCHEMA, orient="row")
    if not evidence:
        return frame
    return frame.with_columns(pl.Series("evidence", [json.dumps(e) for e in evidence]))


PAIR = truth(
    ("low_limed_ph", 10, 26, 3.0, "step", "pair"),
    ("tank_held", 12, 28, 1.0, "step", "pair"),
    ("overheating", 60, 108, 2.0, "ramp", ""),
)


def test_two_findings_of_a_pair_go_each_to_the_loss_it_names():
    card = score(PAIR, findings(("tank_held", 11, 27, 1.0), ("low_limed_ph", 11, 27, 3.0)), 1.0)
    # Both share 15 h with the first loss and with the second.
    assert card.events["found"].to_list() == [True, True, False]
    assert card.events["named"].to_list() == ["low_limed_ph", "tank_held", None]
    assert card.events["lost_t"].to_list() == [3.0, 1.0, None]
    assert card.cause_accuracy == 1.0


def test_one_finding_with_one_name_finds_one_of_a_pair():
    card = score(PAIR, findings(("low_limed_ph", 10, 28, 4.0)), 1.0)
    assert card.events["found"].to_list() == [True, False, False]
    assert card.events["touched"].to_list() == [True, True, False]


def test_one_finding_that_names_both_finds_both_and_shares_its_tonnes():
    parts = [{"cause": "low_limed_ph", "share": 0.7}, {"cause": "tank_held", "share": 0.3}]
    listed = findings(("low_limed_ph", 10, 28, 4.0), evidence=[{"parts": parts}])
    card = score(PAIR, listed, 1.0)
    assert card.events["found"].to_list() == [True, True, False]
    assert card.events["lost_t"].to_list()[:2] == pytest.approx([2.8, 1.2])
    assert card.events["lost_t_high"].to_list()[:2] == pytest.approx([5.6, 2.4])
    # It stays one finding, with its own tonnes.
    assert (card.findings, card.claimed_t) == (1, 4.0)


def test_alternatives_name_a_second_cause_only_with_weight():
    strong = {"alternatives": [{"cause": "tank_held", "weight": 0.4}]}
    weak = {"alternatives": [{"cause": "tank_held", "weight": 0.2}]}
    row = ("low_limed_ph", 10, 28, 4.0)
    assert score(PAIR, findings(row, evidence=[strong]), 1.0).found_events == 2
    assert score(PAIR, findings(row, evidence=[weak]), 1.0).found_events == 1
    assert causes_named(json.dumps(strong), "x") == pytest.approx({"x": 0.6, "tank_held": 0.4})
    assert causes_named(None, "x") == {"x": 1.0}


def test_two_names_outside_a_pair_are_no_two_findings():
    both = {"parts": [{"cause": "overheating", "share": 0.5}, {"cause": "tank_held", "share": 0.5}]}
    listed = findings(("overheating", 60, 108, 4.0), evidence=[both])
    events = np.array([[60.0, 108.0]])
    assert parted(listed, events, ["overheating"]).height == 1
    card = score(PAIR, listed, 1.0)
    assert card.events["lost_t"].to_list() == [None, None, 4.0]


def test_a_short_finding_inside_a_drift_goes_to_the_short_loss():
    drift, short = [0.0, 200.0], [80.0, 100.0]
    events = np.array([drift, short])
    assert owners(np.array([[81.0, 99.0]]), events).tolist() == [1]
    assert owners(np.array([[10.0, 190.0]]), events).tolist() == [0]
    # Apart from overlaps the most time decides, whatever is named.
    apart = np.array([[0.0, 50.0], [60.0, 80.0]])
    right = np.array([[False, True]])
    assert owners(np.array([[20.0, 75.0]]), apart, right).tolist() == [0]


def test_mornings_know_both_losses_of_a_pair():
    listed = findings(("tank_held", 11, 27, 1.0), ("low_limed_ph", 11, 27, 3.0))
    card = score(PAIR, listed, 1.0, [NightlyList(at(29), listed)])
    assert card.events["timely"].to_list() == [True, True, False]
    alone = findings(("low_limed_ph", 11, 27, 3.0))
    card = score(PAIR, alone, 1.0, [NightlyList(at(29), alone)])
    assert card.events["timely"].to_list() == [True, False, False]


def test_a_look_alike_inside_a_loss_is_not_counted():
    alike = [(9, "confuser", "handled_stop", at(a), at(a + 5), 0.0, "limed", "") for a in (70, 120)]
    both = pl.concat([PAIR, pl.DataFrame(alike, schema=PAIR.schema, orient="row")])
    card = score(both, findings(("standing_juice", 120, 125, 1.0)), 1.0)
    assert (card.confusers, card.confusers_claimed) == (1, 1)


def test_marks_by_shape():
    card = score(PAIR, findings(("overheating", 70, 108, 2.0)), 1.0)
    assert {name: (c.loss_events, c.found_events) for name, c in card.by_shape().items()} == {
        "pair": (2, 0),
        "ramp": (1, 1),
    }
    plain = score(PAIR.drop("shape", "kin"), findings(), 1.0)
    assert plain.events["shape"].to_list() == ["step"] * 3
    text = parts_as_text("shape", {"ramp": {"listed": card.by_shape()["ramp"]}})
    assert text.splitlines()[1].split() == ["ramp", "1", "2.0", "t", "100", "%"]


SPELL = truth(("microbial", 10, 26, 3.0, "step", ""), ("microbial", 50, 60, 0.4, "step", ""))


def test_marks_by_what_mills_have():
    hit = score(SPELL, findings(("microbial", 10, 26, 3.0)), 6.0)
    miss = score(SPELL, findings(("overheating", 90, 96, 1.0)), 6.0)
    both = by_trait([hit, miss], [("filtrate", "long memory"), ("long memory",)])
    assert list(both) == ["filtrate", "long memory"]
    having, others = both["filtrate"]
    assert (having.found_events, others.found_events) == (1, 0)
    assert others.false_per_week == pytest.approx(1 / 6)
    assert both["long memory"][0].loss_events == 4
    assert both["long memory"][1] is None
    lines = [" ".join(line.split()) for line in traits_as_text(both, both, "rule").splitlines()]
    assert lines[1].split() == [
        "filtrate",
        "1",
        "88",
        "%",
        "0",
        "%",
        "0.00",
        "0.17",
        "100",
        "%",
        "-",
        "88",
        "%",
    ]
    assert lines[2].split() == [
        "long",
        "memory",
        "2",
        "44",
        "%",
        "-",
        "0.08",
        "-",
        "100",
        "%",
        "-",
        "44",
        "%",
    ]


def test_microbial_losses_with_and_without_lactic_acid():
    hit = score(SPELL, findings(("microbial", 10, 26, 3.0)), 6.0)
    miss = score(SPELL, findings(), 6.0)
    cards = [{"listed": hit, "nothing": miss}, {"listed": miss, "nothing": miss}]
    found = microbial_by_lactic(cards, [False, True])
    # Only spells over half a tonne.
    assert found[False]["listed"].loss_events == 1
    assert (found[False]["listed"].found_events, found[True]["listed"].found_events) == (1, 0)
    assert list(microbial_by_lactic(cards, [True, True])) == [True]
    assert pooled([hit, miss]).loss_events == 4
