"""Marks against cases worked out by hand."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from models.baselines import fixed_limit_clear_ph, flag_everything, report_nothing
from models.scorecard import SCORED_SCHEMA, as_text, score

T0 = datetime(2025, 10, 6, tzinfo=UTC)


def at(hours):
    return T0 + timedelta(hours=hours)


def truth():
    return pl.DataFrame(
        [
            (1, "loss", "low_limed_ph", at(10), at(20), 1.0),
            (2, "loss", "overheating", at(40), at(60), 3.0),
            (3, "confuser", "stale_cane", at(80), at(90), 0.0),
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
    assert short.false_findings == 0
    assert short.factor_error is None


def test_a_finding_belongs_to_the_event_it_shares_most_time_with():
    card = score(truth(), findings(("overheating", 18, 60, 3, 2, 4)), 1.0)
    assert card.events["lost_t"].to_list() == [None, 3.0]
    # 20 of 42 hours inside the second event.
    assert card.events["iou"][1] == pytest.approx(20 / 42)


def test_false_findings_and_claimed_look_alikes():
    card = score(
        truth(),
        findings(
            ("microbial", 81, 85, 1, 0, 2),  # inside the look-alike
            ("microbial", 100, 110, 1, 0, 2),  # nowhere
            ("microbial", 19, 28, 1, 0, 2),  # touches an event with a ninth of itself
            ("microbial", 12, 13, 1, 0, 2),  # short but wholly inside an event
        ),
        2.0,
    )
    assert card.false_findings == 3
    assert card.false_per_week == pytest.approx(1.5)
    assert card.confusers_claimed == 1


def test_factor_error_is_the_median_of_logs_whatever_the_direction():
    card = score(
        truth(),
        findings(("low_limed_ph", 10, 20, 0.5, 0.4, 0.6), ("overheating", 40, 60, 12, 1, 20)),
        1.0,
    )
    assert card.factor_error == pytest.approx(math.sqrt(2 * 4))
    assert card.coverage == 0.5
    assert card.cause_accuracy == 1.0


def test_baselines_gain_nothing():
    nothing = score(truth(), report_nothing(), 1.0)
    everything = score(truth(), flag_everything(at(0), at(1344), 10.0), 1.0)
    assert (nothing.found_events, nothing.false_findings) == (0, 0)
    assert (everything.found_events, everything.false_findings) == (0, 1)


def test_no_events_at_all():
    card = score(truth().filter(pl.col("kind") == "x"), findings(("microbial", 1, 2, 1, 0, 2)), 1.0)
    assert card.false_findings == 1
    assert card.tonnes_found_share == 0.0


def test_fixed_limit_alarms():
    minutes = 60 * 24
    ph = [6.95] * minutes
    ph[120:420] = [6.7] * 300  # five hours
    ph[200:202] = [None, None]
    ph[600:630] = [6.5] * 30  # too short
    readings = pl.DataFrame(
        {"ts_utc": [T0 + timedelta(minutes=i) for i in range(minutes)], "ph_clear": ph}
    )
    alarms = fixed_limit_clear_ph(readings)
    assert alarms.schema == SCORED_SCHEMA
    assert alarms.select("started", "ended").rows() == [(at(2), at(7))]
    assert alarms["lost_t"][0] == pytest.approx(0.4)


def test_table_names_every_method():
    cards = {
        "nothing": score(truth(), report_nothing(), 1.0),
        "right": score(truth(), findings(("overheating", 40, 60, 3, 2, 4)), 1.0),
    }
    text = as_text(cards)
    lines = text.splitlines()
    assert len(lines) == 3
    assert "75 %" in lines[2]
    assert "0 of 2" in lines[1]
    assert lines[1].rstrip().endswith("-")


def test_refuses_what_it_cannot_mark():
    with pytest.raises(ValueError, match="lost_t_low"):
        score(truth(), report_nothing().drop("lost_t_low"), 1.0)
    with pytest.raises(ValueError, match="fed_weeks"):
        score(truth(), report_nothing(), 0.0)
