"""Lines of the null card add up, and say what they promise."""

import numpy as np
import pytest

from models.judge import NullLine, Searched, draw_noise, null_figures, null_head, null_text
from models.judge import null_lines as lines
from models.judge.null_lines import search_noise, search_series

WEEKS = 6
MINUTES = WEEKS * 10_080
LENGTH = 10 * 10_080


def of(counts, *, unsure=0):
    """A line of as many series of ten weeks, 0.1 a week asked: one each is what was asked."""
    series = [Searched(n, 0, 60 * n, LENGTH, i >= unsure) for i, n in enumerate(counts)]
    return NullLine("some", "some noise", 0.1, tuple(series))


def test_a_series_is_searched_at_each_rate(monkeypatch):
    values = draw_noise("ou_45min", 7, MINUTES)
    assert [one.count for one in search_series(values, (0.05, 0.2), None)] == [0, 0]
    for start in (10 * 1_440, 30 * 1_440):
        values[start : start + 720] += 5.0
    once, twice = search_series(values, (0.05, 0.2), None)
    # Both lie far out, at either rate, and chance makes such ones hardly ever.
    assert (once.count, once.small, once.minutes) == (2, 2, MINUTES)
    assert once.taken_min == pytest.approx(2 * 720, rel=0.1)
    assert once.sure
    assert twice.count >= 2
    monkeypatch.setattr(lines, "draw_noise", lambda name, seed, minutes: values[:minutes])
    assert search_noise("ou_45min", 1, WEEKS, (0.05, 0.2)) == [once, twice]


def test_a_walk_is_said_not_to_be_calibrated():
    # Levels that never come back: a season holds too few that know nothing of each other.
    searched = [search_noise("walk_1", seed, 8, (0.2,))[0] for seed in range(7000, 7006)]
    assert sum(not one.sure for one in searched) >= 4
    short = [search_noise("ou_45min", seed, 8, (0.2,))[0] for seed in range(7000, 7006)]
    assert all(one.sure for one in short)


@pytest.mark.parametrize(
    ("counts", "unsure", "verdict"),
    [
        ([1, 1, 1, 1], 0, "yes"),
        ([0, 0, 0, 0], 0, "too few ?"),
        ([0] * 20, 0, "too few"),
        ([2, 2, 2, 2], 0, "too many ?"),
        ([9, 9, 9, 9], 0, "too many"),
        # Half of the series promise nothing, whether they keep it or not.
        ([1, 1, 1, 1], 2, "cannot be calibrated"),
        ([9, 9, 1, 1], 2, "cannot be calibrated"),
        # One that promises nothing has it all.
        ([9, 1, 1, 1], 1, "where calibrated"),
        ([9, 9, 9, 9], 1, "too many"),
    ],
)
def test_the_verdict_by_hand(counts, unsure, verdict):
    line = of(counts, unsure=unsure)
    assert line.verdict == verdict
    assert line.honest == (not verdict.startswith("too"))
    assert null_text(line).endswith(f"  {verdict}")


def test_a_line_adds_up():
    line = of([4, 0, 2, 0], unsure=1)
    assert (line.rate.count, line.rate.weeks, line.rate.asked) == (6, 40.0, 0.1)
    assert line.rate.times == pytest.approx(1.5)
    assert line.sure_rate is not None
    assert (line.sure_rate.count, line.sure_rate.weeks) == (2, 30.0)
    assert (line.unsure, line.most) == (1, 4)
    assert line.time_share == pytest.approx(6 * 60 / (4 * LENGTH))
    # Of 28 cells of six hours a week one in a thousand has so small a p.
    assert line.small.asked == pytest.approx(0.028)
    assert of([1, 1], unsure=2).sure_rate is None


def test_a_line_is_told_under_its_heading_and_in_full():
    line = of([4, 0, 2, 0], unsure=1)
    told = null_text(line)
    assert told.startswith("some noise")
    assert told[: null_head().index("count") + 5].endswith("6")
    assert told[: null_head().index("no calib.") + 9].endswith("1 of 4")
    # Of ten weeks each at 0.1 a week the three others have two.
    assert told[: null_head().index("others") + 6].endswith(" 0.67")
    figures = null_figures(line)
    assert figures["count"] == 6
    assert figures["series_not_calibrated"] == 1
    # Printed tables of exact 90 % Poisson limits: 2.613 to 11.842 of 6 (memory); 4 were asked.
    limits = [figures["got_over_asked_low"], figures["got_over_asked_high"]]
    np.testing.assert_allclose(limits, [2.613 / 4.0, 11.842 / 4.0], rtol=1e-3)
    assert figures["calibrated_got_over_asked"] == pytest.approx(2 / 3)
    assert null_figures(of([1], unsure=1))["calibrated_got_over_asked"] is None
