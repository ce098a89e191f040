"""The kinetic multiplier from reducing sugars."""

import numpy as np
import pytest

from models.reconcile import fit_multiplier, inverted_by_balance


def test_inversion_from_the_tracer_form_matches_the_worked_example():
    # Worked example: RS/pol 4 %, RS/tracer 0.30 -> 0.33 gives 0.380 % inverted (computed from
    # the stoichiometry 1.0526 and the tracer form).
    got = inverted_by_balance(np.array([4.0]), np.array([0.30]), np.array([0.33]), np.array([0.0]))
    assert got[0] == pytest.approx(0.380, abs=5e-4)


def test_reducing_sugars_may_fall_while_sucrose_inverts():
    # Two-step kinetics, 2 h, destruction 1 %/h, RS/S 4 %, 0.020 %/h inversion: RS falls by
    # 0.0375 per 100 S although 0.0400 % of the sucrose was inverted (computed).
    ratio_out = (4.0 - 0.0375) / 4.0
    got = inverted_by_balance(
        np.array([4.0]),
        np.array([1.0]),
        np.array([ratio_out]),
        np.array([100 * (1 - np.exp(-0.02))]),
    )
    assert got[0] == pytest.approx(0.0400, abs=0.002)


@pytest.mark.parametrize("truth", [0.8, 1.9, 2.6])
def test_multiplier_is_recovered_within_its_interval(truth):
    rng = np.random.default_rng(int(truth * 10))
    x = rng.uniform(0.05, 0.15, 400)
    sd = np.full(400, 0.14)
    y = truth * x + rng.normal(0, 0.14, 400)
    y[::37] += 3.0  # gross errors of the laboratory
    fit = fit_multiplier(x, y, sd, 1.5, 0.6)
    assert fit.low < truth < fit.high
    assert fit.value == pytest.approx(truth, rel=0.25)


def test_without_laboratory_the_prior_stands():
    fit = fit_multiplier(np.empty(0), np.empty(0), np.empty(0), 1.5, 0.6)
    assert fit.value == pytest.approx(1.5)
    assert fit.pairs == 0
    assert fit.high / fit.low > 5
