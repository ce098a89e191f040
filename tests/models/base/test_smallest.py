"""The smallest finding follows the mill: figures worked out by hand."""

from dataclasses import replace

import pytest

from features.base import Targets
from models.base import Settings, smallest_finding_t
from models.base.smallest import sucrose_fed_t_h

#: 250 t cane/h: 265 m3/h of juice at 1.054 t/m3 (14.5 Brix at 30 degC: water 0.9957, sugar tables
#: 1.057 at 20 degC; memory, half a per cent), 14.5 Brix, purity 84 %: 34.0 t/h of sucrose.
MILL = Targets(flow_feed_m3_h=265.0, ph_limed=7.5, ph_clear=6.95, brix_pct=14.5, purity_pct=84.0)


def of_size(factor):
    return replace(MILL, flow_feed_m3_h=factor * MILL.flow_feed_m3_h)


def test_sucrose_fed_agrees_with_sugar_tables():
    assert sucrose_fed_t_h(MILL) == pytest.approx(265 * 1.054 * 0.145 * 0.84, rel=0.005)


@pytest.mark.parametrize(
    ("cane_t_h", "least_t"),
    # 0.018 % of 24 h: 34.0 x 24 x 0.00018 = 0.147; a quarter of it 0.035; four times 0.59.
    [(250, 0.15), (60, 0.035), (1000, 0.59), (5, 0.01), (20_000, 3.0)],
)
def test_smallest_finding_follows_the_size_of_the_mill(cane_t_h, least_t):
    assert smallest_finding_t(of_size(cane_t_h / 250)) == least_t


@pytest.mark.parametrize(
    ("worth", "price", "least_t"),
    # 80 at 520 a tonne is 0.154 t; at 400, 0.2 t; 5 or 5,000 stop at a third and three times 0.147.
    [(80, 520, 0.15), (80, 400, 0.2), (5, 520, 0.049), (5000, 520, 0.44)],
)
def test_what_a_look_costs_and_the_price_move_it_within_bounds(worth, price, least_t):
    assert smallest_finding_t(MILL, worth / price) == least_t


def test_given_it_stands_and_left_out_it_is_worked_out():
    assert Settings(smallest_finding_t=0.0).at(MILL).smallest_kg == 0.0
    assert Settings(smallest_finding_t=7.0).at(MILL).smallest_kg == 7000.0
    assert Settings().at(MILL).smallest_kg == pytest.approx(150.0)
    with pytest.raises(ValueError, match="left out"):
        _ = Settings().smallest_kg
