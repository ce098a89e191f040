"""Marks against cases worked out by hand."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from sklearn.metrics import dcg_score, ndcg_score

from models.judge.card import figures, pooled
from models.judge.marks import pointing
from models.judge.naive_rules import (
    Hints,
    at_random,
    fixed_limits,
    flag_everything,
    forest_on_raw_tags,
    hints_of,
    quarter_hours,
    report_nothing,
    three_sigma_per_tag,
    usual_limits,
)
from models.judge.nightly import NightlyList, as_it_stood, median_wait_d
from models.judge.order import discounted_gain, ndcg
from models.judge.scorecard import SCORED_SCHEMA, score
from models.judge.text import as_line, as_text, causes_as_text

T0 = datetime(2025, 10, 6, tzinfo=UTC)
TOLD = Hints(0.1, 0.5, "overheating", 0.3)


def at(hours):
    return T0 + timedelta(hours=hours)


def truth(*more):
    return pl.DataFrame(
        [
            (1, "loss", "low_limed_ph", at(10), at(20), 1.0),
            (2, "loss", "overheating", at(40), at(60), 3.0),
            (3, "confuser", "stale_cane", at(80), at(90), 0.0),
            *more,
        ],
        schema=["event", "kind", "cause", "start_utc", "end_utc", "lost_t"],
        orient="row",
    )


def findings(*rows):
    full = [(c, at(a), at(b), t, lo, hi, i, 0.9) for i, (c, a, b, t, lo, hi) in enumerate(rows, 1)]
    return pl.DataFrame(full, schema=SCORED_SCHEMA, orient="row")


def test_two_pieces_of_one_event_count_together():
    card = score(
        truth(),
        findings(("low_limed_ph", 10, 13, 0.5, 0.3, 0.7), ("mud_held", 14, 20, 1.5, 0.5, 3.0)),
        1.0,
    )
    # Nine of ten hours: intersection over union 0.9; neither piece alone reaches it.
    assert card.found_events == 1
    assert card.events["iou"][0] == pytest.approx(0.9)
    assert card.events["lost_t"][0] == pytest.approx(2.0)
    assert card.tonnes_found_share == pytest.approx(0.25)
    assert card.factor_error == pytest.approx(2.0)
    assert card.coverage == 1.0
    # The larger piece names the cause, and names it wrongly.
    assert card.cause_accuracy == 0.0
    assert card.false_findings == 0


def test_half_is_found_and_less_is_not():
    exact = score(truth(), findings(("overheating", 40, 50, 3, 2, 4)), 1.0)
    short = score(truth(), findings(("overheating", 40, 49.9, 3, 2, 4)), 1.0)
    assert exact.found_events == 1
    assert short.found_events == 0
    assert short.notable == (1, 2)
    assert short.false_findings == 0
    assert short.factor_error is None


def test_a_finding_belongs_to_the_event_it_shares_most_time_with():
    card = score(truth(), findings(("overheating", 18, 60, 3, 2, 4)), 1.0)
    assert card.events["lost_t"].to_list() == [None, 3.0]
    # 20 of 42 hours inside the second event.
    assert card.events["iou"][1] == pytest.approx(20 / 42)
    # It touches both all the same.
    assert card.notable == (2, 2)


def test_false_findings_and_claimed_look_alikes():
    card = score(
        truth(),
        findings(
            ("microbial", 81, 85, 1, 0, 2),  # inside the look-alike
            ("microbial", 100, 110, 2, 0, 2),  # nowhere
            ("microbial", 19, 28, 3, 0, 2),  # touches an event with a ninth of itself
            ("microbial", 12, 13, 4, 0, 2),  # short but wholly inside an event
        ),
        2.0,
    )
    assert card.false_findings == 3
    assert card.false_per_week == pytest.approx(1.5)
    assert card.false_tonnes_share == pytest.approx(6 / 10)
    assert card.confusers_claimed == 1
    assert card.confusers_share == 1.0


def test_tonnes_at_the_same_rate_of_false_findings():
    stray = ("microbial", 100, 110, 2, 0, 2)
    listed = findings(
        ("low_limed_ph", 10, 20, 1, 0, 2), stray, stray, ("overheating", 40, 60, 3, 2, 4)
    )
    # One false finding in two weeks is allowed, two are not: the list ends before the second.
    assert score(truth(), listed, 2.0).tonnes_early_share == pytest.approx(0.25)
    assert score(truth(), listed, 3.9).tonnes_early_share == pytest.approx(0.25)
    assert score(truth(), listed, 4.0).tonnes_early_share == 1.0
    assert score(truth(), listed, 4.0).tonnes_found_share == 1.0


def test_factor_error_is_the_median_of_logs_whatever_the_direction():
    card = score(
        truth(),
        findings(("low_limed_ph", 10, 20, 0.5, 0.4, 0.6), ("overheating", 40, 60, 12, 1, 20)),
        1.0,
    )
    assert card.factor_error == pytest.approx(math.sqrt(2 * 4))
    # Half as much and four times as much: on the whole too much.
    assert card.factor_bias == pytest.approx(math.sqrt(4 / 2))
    assert card.coverage == 0.5
    assert card.cause_accuracy == 1.0


def test_recall_by_size():
    small = (4, "loss", "tank_held", at(100), at(110), 0.3)
    card = score(
        truth(small), findings(("overheating", 40, 60, 3, 2, 4), ("x", 100, 104, 1, 0, 2)), 1.0
    )
    assert card.by_size().select("from_t", "events", "found", "touched", "found_t").rows() == [
        (0.0, 1, 0, 1, 0.0),
        (0.5, 0, 0, 0, 0.0),
        (1.0, 1, 0, 0, 0.0),
        (2.0, 1, 1, 1, 3.0),
    ]
    # 0.3 t is no event over half a tonne.
    assert card.notable == (1, 2)


def test_discounted_gain_by_hand():
    # 3 / log2(2) + 2 / log2(3) + 1 / log2(4); the third place is the last that counts.
    assert discounted_gain(np.array([3.0, 2.0, 1.0, 9.0]), 3) == pytest.approx(
        3 + 2 / math.log2(3) + 0.5
    )


@pytest.mark.parametrize("seed", range(5))
def test_order_is_scikit_learns_where_every_event_has_one_finding(seed):
    rng = np.random.default_rng(seed)
    events = np.column_stack([np.arange(14) * 50.0, np.arange(14) * 50.0 + 10])
    planted = rng.exponential(2.0, 14)
    strays = np.column_stack([np.arange(6) * 50.0 + 30, np.arange(6) * 50.0 + 35])
    order = rng.permutation(20)
    listed = np.vstack([events, strays])[order]
    gains = np.append(planted, np.zeros(6))[order]
    places = -np.arange(20.0)
    assert ndcg(listed, events, planted) == pytest.approx(ndcg_score([gains], [places], k=10))
    assert discounted_gain(gains) == pytest.approx(dcg_score([gains], [places], k=10))


def test_order_punishes_what_is_missing_and_what_is_said_twice():
    events, planted = np.array([[0.0, 10], [20, 30]]), np.array([1.0, 3.0])
    best = 3 + 1 / math.log2(3)
    assert ndcg(events[::-1], events, planted) == pytest.approx(1.0)
    assert ndcg(events[1:], events, planted) == pytest.approx(3 / best)
    assert ndcg(events, events, planted) == pytest.approx((1 + 3 / math.log2(3)) / best)
    twice = np.array([[20.0, 25], [25, 30], [0, 10]])
    assert ndcg(twice, events, planted) == pytest.approx((3 + 1 / math.log2(4)) / best)
    assert ndcg(np.array([[0.0, 100]]), events, planted) == 0.0
    assert ndcg(events, np.empty((0, 2)), np.empty(0)) is None


def test_what_points_at_an_event():
    events = np.array([[10.0, 20], [40, 60]])
    spans = [[15, 25], [14, 26], [5, 24], [18, 58], [70, 80], [10, 11]]
    # Half of its own time; the same; half of the union (10 of 19); second event (18 of 40, 18 of
    # 42); nothing; wholly inside.
    assert pointing(np.array(spans, dtype=float), events).tolist() == [0, 0, 0, -1, -1, 0]


def night(hours, *rows):
    return NightlyList(at(hours), findings(*rows))


def test_days_to_the_list():
    small = ("low_limed_ph", 10, 20, 1, 0, 2)
    card = score(
        truth(),
        findings(small),
        1.0,
        [
            night(24),  # first morning of event 1
            night(48, small, ("overheating", 44, 48, 1, 0, 2)),  # second; first of event 2
            night(72, small, ("overheating", 30, 44, 1, 0, 2)),  # 4 of 14 hours: points no more
        ],
    )
    assert card.events["listed_d"].to_list() == pytest.approx([38 / 24, 8 / 24])
    # Half of the eight hours of event 2 so far.
    assert card.events["found_d"].to_list() == pytest.approx([38 / 24, 8 / 24])
    assert card.events["timely"].to_list() == [True, True]
    assert card.timely_share == 1.0
    assert card.found_timely_share == 1.0
    assert card.days_to_list == pytest.approx(38 / 24)


def test_a_piece_is_on_the_list_before_the_event_is_found():
    piece, all_of_it = ("overheating", 57, 60, 1, 0, 2), ("overheating", 44, 60, 1, 0, 2)
    nights = [night(48), night(72, piece), night(96, all_of_it)]
    card = score(truth(), findings(all_of_it), 1.0, nights)
    # Wholly inside the event, but three of its twenty hours.
    assert card.events["listed_d"][1] == pytest.approx(32 / 24)
    assert card.events["found_d"][1] == pytest.approx(56 / 24)
    assert card.timely_share == pytest.approx(0.75)
    assert card.found_timely_share == 0.0


def test_the_third_morning_is_too_late():
    small = ("low_limed_ph", 10, 20, 1, 0, 2)
    card = score(truth(), findings(small), 1.0, [night(h) for h in (24, 48)] + [night(72, small)])
    assert card.events["timely"].to_list() == [False, False]
    assert card.events["listed_d"].to_list() == [pytest.approx(62 / 24), None]
    assert card.timely_share == 0.0
    # The median of a wait and of never, the later one, is never.
    assert card.days_to_list is None
    assert score(truth(), findings(small), 1.0).timely_share is None


def test_flagging_everything_lists_nothing_in_time():
    whole = flag_everything(at(0), at(168), TOLD)
    nights = [as_it_stood(whole, at(h)) for h in range(24, 169, 24)]
    assert nights[0].findings["ended"].to_list() == [at(24)]
    assert score(truth(), whole, 1.0, nights).timely_share == 0.0


def test_median_wait():
    assert median_wait_d([1.0, None, 2.0]) == 2.0
    assert median_wait_d([None, None, 2.0]) is None
    assert median_wait_d([]) is None


def test_marks_by_cause():
    card = score(
        truth((4, "loss", "overheating", at(100), at(110), 1.0)),
        findings(
            ("overheating", 40, 60, 6, 2, 7), ("x", 10, 20, 1, 0, 2), ("x", 130, 140, 1, 0, 2)
        ),
        1.0,
    )
    parts = card.by_cause()
    assert list(parts) == ["low_limed_ph", "overheating"]
    assert (parts["overheating"].found_events, parts["overheating"].loss_events) == (1, 2)
    assert parts["overheating"].tonnes_found_share == pytest.approx(0.75)
    assert parts["overheating"].factor_bias == pytest.approx(2.0)
    assert parts["low_limed_ph"].cause_accuracy == 0.0
    lines = causes_as_text(card).splitlines()
    assert " ".join(lines[2].split()) == "overheating 1 of 2 75 % x 2.00 x 2.00 100 % 100 %"


def test_pooled_marks_are_those_of_all_events():
    one = score(truth(), findings(("overheating", 40, 60, 6, 2, 7)), 1.0)
    two = score(truth(), findings(("x", 10, 20, 1, 0, 2), ("x", 100, 110, 3, 0, 2)), 3.0)
    both = pooled([one, two])
    assert (both.loss_events, both.found_events) == (4, 2)
    assert both.tonnes_found_share == pytest.approx(4 / 8)
    assert both.false_per_week == pytest.approx(1 / 4)
    assert both.false_tonnes_share == pytest.approx(3 / 10)
    assert both.cause_accuracy == pytest.approx(0.5)
    assert both.factor_bias == pytest.approx(math.sqrt(2))
    assert both.ndcg == pytest.approx((one.ndcg + two.ndcg) / 2)
    with pytest.raises(ValueError, match="at least"):
        pooled([])


def test_baselines_gain_nothing():
    nothing = score(truth(), report_nothing(), 1.0)
    everything = score(truth(), flag_everything(at(0), at(1344), TOLD), 1.0)
    assert (nothing.found_events, nothing.false_findings) == (0, 0)
    assert (everything.found_events, everything.false_findings) == (0, 1)
    assert (nothing.ndcg, everything.ndcg) == (0.0, 0.0)
    assert nothing.false_tonnes_share is None
    assert everything.false_tonnes_share == 1.0


def test_no_events_at_all():
    card = score(truth().filter(pl.col("kind") == "x"), findings(("microbial", 1, 2, 1, 0, 2)), 1.0)
    assert card.false_findings == 1
    assert card.tonnes_found_share == 0.0
    assert card.ndcg is None
    assert card.confusers_share is None


def test_what_the_simple_rules_are_told():
    told = hints_of(truth((4, "loss", "overheating", at(100), at(130), 6.0)), 600.0)
    # 10 t in 60 h; rates 0.1, 0.15, 0.2 t/h.
    assert told.lost_t_h == pytest.approx(1 / 6)
    logs = [math.log(0.6), math.log(0.9), math.log(1.2)]
    assert told.log_sd == pytest.approx(math.sqrt(sum(x * x for x in logs) / 3))
    assert (told.cause, told.share) == ("overheating", pytest.approx(0.1))


def minutes(days=2, **columns):
    times = [T0 + timedelta(minutes=i) for i in range(1440 * days)]
    return pl.DataFrame({"ts_utc": times, **columns})


def test_fixed_limit_alarms(station):
    ph = [6.95] * 1440
    ph[120:420] = [6.7] * 300  # five hours
    ph[200:202] = [None, None]
    ph[600:630] = [6.5] * 30  # too short
    temp = [113.0] * 1440
    temp[600:720] = [119.0] * 120
    grid = minutes(1, ph_settler_out=ph, temp_first_evaporator_inside_degc=temp)
    alarms = fixed_limits(quarter_hours(grid), usual_limits(station), TOLD)
    assert alarms.schema == SCORED_SCHEMA
    assert alarms.select("cause", "started", "ended", "rank").rows() == [
        ("low_limed_ph", at(2), at(7), 1),
        ("overheating", at(10), at(12), 2),
    ]
    assert alarms["lost_t"].to_list() == pytest.approx([0.5, 0.2])


def test_every_usual_limit_is_on_a_column_of_the_grid(station):
    names = {signal.name for signal in station.signals}
    limits = usual_limits(station)
    assert {limit.column for limit in limits} <= names
    assert len(limits) == 7


def test_rules_on_tags_see_the_odd_hours():
    rng = np.random.default_rng(3)
    value = rng.normal(0.0, 0.1, 5 * 1440)
    value[3000:3180] += 5.0  # 50 h to 53 h
    blocks = quarter_hours(minutes(5, a=value, b=rng.normal(0.0, 1.0, 5 * 1440)))
    for rule in (three_sigma_per_tag, forest_on_raw_tags):
        odd = rule(blocks, Hints(0.1, 0.5, "mud_held", 0.025))
        assert odd.select("started", "ended").row(0) == (at(50), at(53))
        assert odd["cause"][0] == "mud_held"
        assert rule(blocks.head(50), TOLD).is_empty()


def test_random_keeps_all_but_the_times():
    own = findings(("low_limed_ph", 10, 20, 1, 0.5, 2), ("overheating", 40, 60, 3, 2, 4))
    moved = at_random(own, at(0), at(1000), seed=4)
    assert moved.drop("started", "ended").equals(own.drop("started", "ended"))
    assert (moved["ended"] - moved["started"]).equals(own["ended"] - own["started"])
    assert moved["started"].is_between(at(0), at(1000)).all()
    assert not moved["started"].equals(own["started"])


def test_table_names_every_method():
    nights = [night(48, ("overheating", 44, 48, 1, 0, 2))]
    cards = {
        "nothing": score(truth(), report_nothing(), 1.0),
        "right": score(truth(), findings(("overheating", 40, 60, 3, 2, 4)), 1.0, nights),
    }
    lines = {line[:28].strip(): line.split() for line in as_text(cards).splitlines()}
    assert lines["tonnes found"][-3:] == ["0", "%", "75", "%"][1:]
    assert lines["events found"][-6:] == ["0", "of", "2", "1", "of", "2"]
    assert lines["of 2 t and more"][-6:] == ["0", "of", "1", "1", "of", "1"]
    assert lines["order, NDCG at 10"][-2:] == ["0.00", "0.83"]
    assert lines["days until listed, median"][-2:] == ["-", "never"]
    assert lines["tonnes wrong by, median"][-3:] == ["-", "x", "1.00"]
    assert "75 %" in as_line("mill 4", cards["right"])
    assert figures(cards["right"])["tonnes_found_share"] == pytest.approx(0.75)


def test_refuses_what_it_cannot_mark():
    with pytest.raises(ValueError, match="lost_t_low"):
        score(truth(), report_nothing().drop("lost_t_low"), 1.0)
    with pytest.raises(ValueError, match="fed_weeks"):
        score(truth(), report_nothing(), 0.0)
