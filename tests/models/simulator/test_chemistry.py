"""Rates inside the simulator against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from models.simulator.chemistry import (
    brix_of_solids,
    inversion_rate_1_h,
    juice_density_kg_m3,
    rs_destruction_rate_1_h,
    water_g_ml,
)
from models.simulator.reactions import RS_PER_SUCROSE

# regression: % of sucrose inverted an hour at 15 Brix from the equation of K. Vukov,
# Int. Sugar J. 67 (1965) 172-175 (constants from memory), worked out apart from this code
# with the full density polynomial.
VUKOV = [
    (5.5, 75, 0.0701),
    (5.5, 100, 0.8473),
    (6.0, 90, 0.1033),
    (6.4, 98, 0.0888),
    (6.4, 110, 0.2647),
    (6.8, 95, 0.0266),
    (7.0, 103, 0.0355),
    (7.2, 115, 0.0649),
]


@pytest.mark.parametrize(("ph", "temp", "pct_h"), VUKOV)
def test_inversion_rate_matches_the_check_table(ph, temp, pct_h):
    rate = inversion_rate_1_h(np.array([float(temp)]), np.array([ph]), np.array([15.0]))
    inverted = 100.0 * -np.expm1(-rate[0])
    # Digits of the table, plus 0.3 % for the straight-line density.
    assert inverted == pytest.approx(pct_h, rel=4e-3, abs=6e-5)


# Sucrose-solution densities [kg/m3] by the polynomial in Z. Bubnik, P. Kadlec, D. Urban &
# M. Bruhns, Sugar Technologists Manual, Bartens 1995, p. 164 (secondary).
@pytest.mark.parametrize(
    ("brix", "temp", "density"),
    [(12, 60, 1030.0), (15, 98, 1018.3), (20, 103, 1035.7), (14, 90, 1019.8)],
)
def test_water_per_millilitre(brix, temp, density):
    water = water_g_ml(np.array(float(brix)), np.array(float(temp)))
    assert water == pytest.approx(density / 1000 * (1 - brix / 100), rel=2e-3)


def test_invert_per_sucrose_from_molar_masses():
    chemicals = pytest.importorskip("chemicals")
    sucrose, glucose = chemicals.MW("57-50-1"), chemicals.MW("50-99-7")
    assert pytest.approx(2 * glucose / sucrose, rel=1e-4) == RS_PER_SUCROSE


def test_invert_decomposes_threefold_a_ph_unit():
    # common practice: 1 %/h at pH 7 and 3 %/h at pH 8 near 97 degC.
    temp = np.array([97.0, 97.0])
    rate = rs_destruction_rate_1_h(temp, np.array([7.0, 8.0]), 0.01)
    assert rate == pytest.approx([0.01, 0.03])
    # J. Nolasco Junior & P. R. de Massaguer, J. Food Process Eng. 29 (2006) 462-477 (energy
    # confirmed, volume and pages from memory), 140 kJ/mol: 10 K near 120 degC.
    warm = rs_destruction_rate_1_h(np.array([110.0, 120.0]), np.array([6.1, 6.1]), 0.01)
    assert warm[1] / warm[0] == pytest.approx(
        np.exp(140_300 / 8.314462 * (1 / 383.15 - 1 / 393.15))
    )


def test_brix_of_solids_undoes_the_density():
    brix = np.array([5.0, 14.5, 20.0, 28.0])
    assert brix_of_solids(0.01 * brix * juice_density_kg_m3(brix)) == pytest.approx(brix, abs=1e-3)
