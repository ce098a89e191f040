"""Load, spare capacity and one vessel out, by hand."""

from __future__ import annotations

import pytest

from features.advice import settler_load


def test_load_and_spare_capacity_of_one_settler():
    held = settler_load(240.0, [80.0])
    # 240 m3/h over 80 m2 are 3 m/h; half of 8 and 12 m/h are 4 and 6 m/h, 320 and 480 m3/h.
    assert held.load_m_h == pytest.approx(3.0)
    assert held.used == (pytest.approx(0.5), pytest.approx(0.75))
    assert held.spare_m3_h == (pytest.approx(80.0), pytest.approx(240.0))
    assert held.one_out is None


def test_the_largest_of_several_out_leaves_its_juice_to_the_others():
    held = settler_load(240.0, [30.0, 50.0], rate_m_h=10.0)
    assert held.used[0] == held.used[1] == pytest.approx(3.0 / 5.0)
    # 240 m3/h over the 30 m2 left: 8 m/h against 5.
    assert held.one_out == (pytest.approx(1.6), pytest.approx(1.6))


def test_juice_that_settles_slower_takes_from_the_margin():
    slow = settler_load(240.0, [80.0], (0.5, 1.0), 10.0)
    assert slow.used == (pytest.approx(0.6), pytest.approx(1.2))
    assert slow.spare_m3_h[0] == pytest.approx(-40.0)


@pytest.mark.parametrize("areas", [[], [50.0, 0.0]])
def test_an_area_is_needed(areas):
    with pytest.raises(ValueError, match="each vessel's area"):
        settler_load(240.0, areas)
