"""The kinetic multiplier from laboratory results."""

import numpy as np
import pytest

from features.balance.balances import MethodErrors, pair_estimates
from features.balance.pol import inverted_from_tracer_pct
from models.amount.reconcile import join_methods

#: Methods that are hardly off, so that random errors decide.
SMALL = MethodErrors(rs=0.003, pol=0.003, brix=0.003, potassium=0.003, chloride=0.003, purity=0.004)


def drawn(rng, n, inverted_pct, *, tracers=(), bias=None):
    """Analyses of n parcels with the demonstration's errors, and their relative errors."""
    size = {"rs": 0.025, "pol": 0.0066, "brix": 0.0055, "potassium": 0.02, "chloride": 0.02}
    lost = np.broadcast_to(inverted_pct, n) / 100.0
    true = {
        "rs": (0.48, 0.48 + 1.0526 * 12.0 * lost),
        "pol": (12.0, 12.0 * (1.0 - 1.315 * lost)),
        "brix": (14.5, 14.5 + 0.0526 * 12.0 * lost),
    }
    true |= dict.fromkeys(tracers, (0.15, 0.15))
    results, sd = {}, {}
    for analyte, ends in true.items():
        for end, value in zip(("in", "out"), ends, strict=True):
            noise = 1.0 + size[analyte] * rng.standard_normal(n)
            off = 1.0 + (bias or {}).get(analyte, 0.0) * (end == "out")
            results[f"{analyte}_{end}"] = value * noise * off
            sd[f"{analyte}_{end}"] = np.full(n, size[analyte])
    return results, sd


def joined(rng, n, inverted_pct, *, errors=None, **kwargs):
    results, sd = drawn(rng, n, inverted_pct, **kwargs)
    return join_methods(pair_estimates(results, sd, np.zeros(n), errors or SMALL))


def test_reducing_sugars_may_fall_while_sucrose_inverts():
    # Two-step kinetics, 2 h, destruction 1 %/h, RS/S 4 %, 0.020 %/h inversion: RS falls by
    # 0.0375 per 100 S although 0.0400 % of the sucrose was inverted (computed).
    destroyed = 100.0 * (1.0 - np.exp(-0.02))
    got = inverted_from_tracer_pct(4.0, 1.0, (4.0 - 0.0375) / 4.0, destroyed)
    assert got == pytest.approx(0.0400, abs=0.002)


def test_pol_and_purity_carry_hardly_any_weight():
    weights = joined(np.random.default_rng(1), 400, 0.15).weights
    assert set(weights) == {"rs_brix", "pol_brix", "purity"}
    assert weights["rs_brix"] > 0.95
    assert sum(weights.values()) == pytest.approx(1.0)


def test_a_second_tracer_shares_the_weight_but_not_for_the_same_analysis_twice():
    rng = np.random.default_rng(2)
    one = joined(rng, 400, 0.15)
    two = joined(rng, 400, 0.15, tracers=("potassium",))
    assert two.weights["rs_potassium"] > 0.2
    # Both stand on the same reducing sugars, whose random error no tracer can take away.
    of_rs_alone = 100.0 * 0.04 * 0.025 * np.sqrt(2.0) / 1.0526
    assert two.sd_pct.mean() > 0.95 * of_rs_alone
    assert two.sd_pct.mean() > 0.9 * one.sd_pct.mean()


def test_purity_of_the_same_pol_and_brix_adds_nothing():
    results, sd = drawn(np.random.default_rng(3), 200, 0.15)
    for end in ("in", "out"):
        del results[f"rs_{end}"], sd[f"rs_{end}"]
    both = pair_estimates(results, sd, np.zeros(200))
    assert both.methods == ("pol_brix", "purity")
    alone = np.sqrt(both.random_covariance()[:, 0, 0])
    assert join_methods(both).sd_pct.mean() > 0.94 * alone.mean()


def test_claimed_random_error_is_that_of_the_joined_estimate():
    found = joined(np.random.default_rng(4), 20_000, 0.15, tracers=("chloride",))
    assert found.seen_pct.std() == pytest.approx(found.sd_pct.mean(), rel=0.03)
    assert found.seen_pct.mean() == pytest.approx(0.15, abs=0.01)


def test_a_missing_result_leaves_the_other_methods():
    results, sd = drawn(np.random.default_rng(5), 60, 0.15)
    results["rs_out"][:20] = np.nan
    results["pol_out"][10:30] = np.nan
    found = join_methods(pair_estimates(results, sd, np.zeros(60)))
    assert np.isnan(found.seen_pct[10:20]).all()
    assert np.isfinite(found.seen_pct[np.r_[0:10, 20:60]]).all()
    assert found.sd_pct[:10].min() > 3.0 * found.sd_pct[40:].max()


def test_no_method_says_nothing():
    found = join_methods(pair_estimates({}, {}, np.zeros(5)))
    assert np.isnan(found.seen_pct).all()
    assert found.weights == {}
