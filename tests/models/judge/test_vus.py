"""Volume under the precision-recall surface: worked cases and the authors' own numbers."""

import numpy as np
import pytest

from models.judge.vus import vus_pr


def test_a_small_case_by_hand():
    # Ten readings, number 4 labelled, score falling from 10 to 1; no shoulders (width 0). The label
    # is reached with five flagged: precision 1/5, recall from 0 to 1, area 1/5.
    label = np.arange(10) == 4
    score = 10.0 - np.arange(10)
    assert vus_pr(label, score, longest=0) == pytest.approx(0.2)
    # Width 2 gives reading 3 and reading 5 the weight sqrt(1/2) = w. With four flagged: hits w of
    # 1 + w/2 wanted, precision w/4. With five: hits 1 + w, more than is wanted, recall 1,
    # precision (1 + w)/5. Width 1 has no shoulder. Mean over the widths 0, 1, 2.
    w = np.sqrt(0.5)
    first = w / (1 + w / 2)
    area = first * w / 4 + (1 - first) * (1 + w) / 5
    assert vus_pr(label, score, longest=2) == pytest.approx((0.2 + 0.2 + area) / 3)


def test_a_perfect_score_without_shoulders_gets_one():
    label = np.zeros(500, dtype=bool)
    label[100:140] = True
    score = label + np.linspace(0.0, 0.1, 500)
    assert vus_pr(label, score, longest=0) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("n", "events", "longest", "expected"),
    [
        (400, [(100, 120), (250, 255)], 20, 0.9211297486618475),
        (2000, [(100, 120), (160, 190), (900, 1000), (1990, 2000)], 100, 0.9701495125806568),
        (3000, [(0, 20), (1500, 1530)], 50, 0.6620808450753155),
    ],
)
def test_agrees_with_the_package_of_the_authors(n, events, longest, expected):
    # Expected: package vus 0.0.6, metricor().RangeAUC_volume_opt, 250 thresholds (computed). The
    # three cases follow one another in one stream of random numbers.
    rng = np.random.default_rng(0)
    for size, spans in CASES:
        label = np.zeros(size, dtype=bool)
        for a, b in spans:
            label[a:b] = True
        score = np.convolve(rng.normal(size=size) + 1.5 * label, np.ones(5) / 5, "same")
        if size == n:
            assert spans == events
            assert vus_pr(label, score, longest) == pytest.approx(expected, rel=1e-9)


CASES = [
    (400, [(100, 120), (250, 255)]),
    (2000, [(100, 120), (160, 190), (900, 1000), (1990, 2000)]),
    (3000, [(0, 20), (1500, 1530)]),
]


def test_a_score_without_skill_gets_the_share_labelled():
    label = np.zeros(20_000, dtype=bool)
    label[2_000:2_400] = label[9_000:9_600] = True
    noise = np.random.default_rng(1).standard_normal(20_000)
    assert vus_pr(label, noise) == pytest.approx(label.mean(), abs=0.02)
    noise[:10] = np.nan
    assert vus_pr(label, noise) < 0.08
    with pytest.raises(ValueError, match="labelled"):
        vus_pr(np.zeros(5, dtype=bool), np.ones(5))
