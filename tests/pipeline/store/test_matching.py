"""Losses found again: which is which, by when they were seen, and what a run may judge."""

from datetime import UTC, datetime, timedelta

import pytest

from pipeline.store.matching import finding_id, merge_findings, pair_up

START = datetime(2025, 10, 6, 5, tzinfo=UTC)
WINDOW = (START, START + timedelta(days=28))


def loss(start_h, hours, **other):
    started = START + timedelta(hours=start_h)
    row = {
        "mill": "brindlewater",
        "section": "settler",
        "cause": "low_limed_ph",
        "started": started,
        "ended": started + timedelta(hours=hours),
        "rank": None,
        "status": "ended",
    }
    return row | other


def known(start_h, hours, **other):
    seen = {"finding_id": f"f{start_h}", "first_seen": START, "last_seen": WINDOW[1], "run_id": "a"}
    return loss(start_h, hours) | seen | other


@pytest.mark.parametrize(("later_h", "same"), [(5.0, True), (5.1, False)])
def test_half_in_common_makes_two_episodes_one(later_h, same):
    assert pair_up([loss(0, 10)], [loss(later_h, 10)]) == ({0: 0} if same else {})


def test_the_pair_with_most_in_common_comes_first():
    assert pair_up([loss(0, 10), loss(4, 10)], [loss(3, 10)]) == {0: 1}


@pytest.mark.parametrize(
    ("days", "judged"), [(-1e-5, False), (0, True), (14, True), (28 - 1e-5, True), (28, False)]
)
def test_a_run_judges_what_starts_in_its_window(days, judged):
    """Its start belongs to it and its end to the next: what lies there is judged once."""
    rows = merge_findings([known(24 * days, 5)], [], WINDOW, WINDOW[1], "b")
    assert [row["status"] for row in rows] == ["withdrawn"] * judged


def test_an_older_run_takes_no_sight_back():
    """Days are worked out again out of order; what was seen later was seen."""
    earlier, later = WINDOW[1] - timedelta(days=3), WINDOW[1] + timedelta(days=1)
    for as_of, last_seen in ((earlier, WINDOW[1]), (later, later)):
        (row,) = merge_findings([known(0, 5)], [loss(0, 5)], WINDOW, as_of, "b")
        assert (row["first_seen"], row["last_seen"]) == (START, last_seen)
        assert (row["finding_id"], row["run_id"]) == ("f0", "b")


def test_a_finding_is_withdrawn_once_by_the_run_that_missed_it_first():
    gone = known(0, 5, status="withdrawn", run_id="b")
    assert merge_findings([gone], [], WINDOW, WINDOW[1], "c") == []


def test_minutes_around_the_full_hour_do_not_rename_a_finding():
    """A start may move by some minutes when later days are known."""
    around = {finding_id("m", "s", "c", START + timedelta(minutes=k)) for k in (-20, -5, 0, 5, 20)}
    assert len(around) == 1
