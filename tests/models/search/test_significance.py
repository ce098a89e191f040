"""False discoveries over a season, against scipy and by simulation."""

import numpy as np
import pytest
from scipy.stats import false_discovery_control

from models.search.significance import cells_in, marks, q_values, with_marks


@pytest.mark.parametrize(("found", "tests"), [(1, 1), (7, 7), (25, 400), (40, 5_000)])
def test_q_values_agree_with_scipy(found, tests):
    # scipy.stats.false_discovery_control, method "by", over all cells: empty ones with p = 1.
    p = np.random.default_rng(found).uniform(0, 0.02, found)
    every = np.concatenate([p, np.ones(tests - found)])
    expected = false_discovery_control(every, method="by")[:found]
    assert q_values(p, tests) == pytest.approx(expected, rel=1e-9)


def test_share_of_chance_among_confident_findings_stays_below_one_in_twenty():
    # 30 true losses among 3,000 cells; chance cells depend on one another in groups of ten.
    rng = np.random.default_rng(11)
    shares = []
    for _ in range(200):
        shared = np.repeat(rng.uniform(size=297), 10)
        own = rng.uniform(size=2_970)
        p = np.where(rng.uniform(size=2_970) < 0.8, shared, own)
        p = np.concatenate([p, rng.uniform(0, 2e-5, 30)])
        confident = np.array(marks(q_values(p, len(p)))) == "confident"
        shares.append(confident[:-30].sum() / max(confident.sum(), 1))
        assert confident[-30:].sum() > 15
    assert np.mean(shares) <= 0.05


def test_order_and_size_of_the_search_decide_alone():
    p = np.array([0.0004, 0.00001, 0.02])
    q = q_values(p, 500)
    assert q_values(p[::-1], 500).tolist() == q[::-1].tolist()
    assert (q_values(p, 5_000) >= q).all()
    assert q_values(np.empty(0), 10).size == 0
    with pytest.raises(ValueError, match="between 0 and 1"):
        q_values(np.array([1.2]), 10)


def test_a_season_counts_every_channel_and_quarter_day():
    # 180 days x 4 quarter-days x 11 channels.
    assert cells_in(180 * 1440, 11) == 7_920


def test_rows_keep_their_order_and_get_one_of_two_marks():
    rows = [{"cause": "a"}, {"cause": "b"}]
    judged = with_marks(rows, [0.01, 1e-7], 1_000)
    assert [row["cause"] for row in judged] == ["a", "b"]
    assert [row["mark"] for row in judged] == ["listed", "confident"]
    assert judged[1]["p_value"] == 1e-7
    assert judged[1]["q_value"] < 0.05 < judged[0]["q_value"]
