"""Inversion between two points by each method, with the errors that belong to it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from features.balance import balances, pol
from features.balance.balances import MethodErrors, pair_estimates

RELATIVE = {"rs": 0.025, "pol": 0.0066, "brix": 0.0055, "potassium": 0.02, "chloride": 0.02}


def pol_of(sucrose, glucose, fructose):
    """Pol of the three sugars by the rotations of Belitz 2009, table 4.8 (confirmed)."""
    return sucrose + (52.7 * glucose - 92.0 * fructose) / 66.5


def juice(inverted_pct, destroyed_pct=0.0, water=1.0, tracers=()):
    """Both ends of a parcel, from a balance of the three sugars written out."""
    sucrose, glucose, fructose, other = 12.0, 0.24, 0.24, 1.9
    lost = sucrose * inverted_pct / 100.0
    kept = 1.0 - destroyed_pct / 100.0
    half = 0.5 * lost * pol.INVERT_PER_SUCROSE
    ends = {
        "in": (sucrose, glucose, fructose),
        "out": (sucrose - lost, glucose * kept + half, fructose * kept + half),
    }
    results = {}
    bound = lost * (pol.INVERT_PER_SUCROSE - 1.0)
    for end, (s, g, f) in ends.items():
        diluted = water if end == "out" else 1.0
        solids = sucrose + glucose + fructose + other + (bound if end == "out" else 0.0)
        values = {"rs": g + f, "pol": pol_of(s, g, f), "brix": solids}
        values |= dict.fromkeys(tracers, 0.15)
        results |= {f"{k}_{end}": np.array([v / diluted]) for k, v in values.items()}
    sizes = {k: np.array([RELATIVE[k.rsplit("_", 1)[0]]]) for k in results}
    return results, sizes


def test_the_worked_tracer_example():
    # RS/pol 4 %, RS over tracer 0.30 -> 0.33 gives 0.380 % of pol inverted (computed).
    results = {"rs_in": [0.30], "rs_out": [0.33], "potassium_in": [1.0], "potassium_out": [1.0]}
    results |= {"pol_in": [7.5]}
    results = {k: np.array(v) for k, v in results.items()}
    found = pair_estimates(results, {k: np.zeros(1) for k in results}, np.zeros(1))
    assert found.methods == ("rs_potassium",)
    assert found.inverted_pct[0, 0] == pytest.approx(0.380, abs=5e-4)


def test_a_tenth_of_a_per_cent_as_each_analysis_shows_it():
    # Visibility at purity 85, RS/pol 4 %: 0.1 % inverted moves purity by -0.116 points and RS/pol
    # by +2.77 % relative (computed).
    purity_out = 85.0 - 0.116
    assert balances.inverted_from_purity_pct(85.0, purity_out) == pytest.approx(0.1, abs=5e-4)
    rs_out_per_brix = 0.04 * 1.0277 * purity_out
    found = pol.inverted_from_tracer_pct(4.0, 0.04 * 85.0, rs_out_per_brix)
    assert found == pytest.approx(0.1, abs=2e-3)


def test_pol_lost_per_sucrose_inverted():
    # 1.311 units of pol per unit of sucrose (computed from the rotations of Belitz 2009).
    assert balances.inverted_from_pol_pct(1.0, 1.0 - 0.01311) == pytest.approx(1.0, abs=4e-3)


def test_destruction_raises_pol_when_fructose_is_there():
    # 100 S + 3 G + 2.5 F after 0.5 % inversion; 3 % of both sugars destroyed raise pol by 0.038
    # on 5.5 + 0.526 of reducing sugars (computed).
    glucose, fructose = 3.0 + 0.2632, 2.5 + 0.2632
    share = fructose / (glucose + fructose)
    gained = balances.pol_gained_per_rs_destroyed(share) * 0.03 * (glucose + fructose)
    assert gained == pytest.approx(0.038, abs=5e-4)


@given(st.floats(0.0, 1.5), st.floats(0.0, 5.0), st.floats(0.9, 1.1))
def test_every_method_gives_back_what_was_inverted(inverted, destroyed, water):
    results, sizes = juice(inverted, destroyed, water, ("potassium", "chloride"))
    found = pair_estimates(results, sizes, np.array([destroyed]))
    assert len(found.methods) == 5
    for name, value in zip(found.methods, found.inverted_pct[0], strict=True):
        # pol stands for sucrose, and water bound moves Brix: a twentieth of the sugar inverted.
        assert value == pytest.approx(inverted, abs=0.003 + 0.05 * inverted), name


def test_forgetting_destruction_hides_inversion():
    results, sizes = juice(0.1, 2.0)
    told = pair_estimates(results, sizes, np.array([2.0])).inverted_pct[0, 0]
    untold = pair_estimates(results, sizes, np.array([0.0])).inverted_pct[0, 0]
    # 2 % of RS at RS/pol 4 % is worth 0.076 % of sucrose (stoichiometry, computed).
    assert told - untold == pytest.approx(0.0765, abs=0.002)


def test_random_errors_are_those_of_drawn_analyses():
    rng = np.random.default_rng(8)
    results, sizes = juice(0.15, 1.6, tracers=("potassium",))
    draws = 40_000
    noisy = {k: v * (1.0 + sizes[k] * rng.standard_normal(draws)) for k, v in results.items()}
    wide = {k: np.full(draws, sizes[k][0]) for k in results}
    drawn = pair_estimates(noisy, wide, np.full(draws, 1.6)).inverted_pct
    claimed = pair_estimates(results, sizes, np.array([1.6])).random_covariance()[0]
    assert np.cov(drawn.T) == pytest.approx(claimed, rel=0.04, abs=2e-3)


def test_shared_errors_are_apart_and_only_where_they_belong():
    results, sizes = juice(0.15, 1.6)
    alone = MethodErrors(rs=0.01, pol=0, brix=0, rs_destroyed=0, fructose_share=0)
    found = pair_estimates(results, sizes, np.array([1.6]), alone)
    shared = dict(zip(found.methods, found.systematic_covariance()[0].diagonal(), strict=True))
    # 1 % of RS at RS/pol 4.03 % is 0.038 % of sucrose; pol and purity do not notice.
    assert np.sqrt(shared["rs_brix"]) == pytest.approx(0.0383, rel=0.05)
    assert shared["pol_brix"] == pytest.approx(0.0, abs=1e-12)


def test_reported_purity_serves_where_pol_is_not_reported():
    results = {"purity_in": np.array([85.0]), "purity_out": np.array([84.884])}
    found = pair_estimates(results, {k: np.zeros(1) for k in results}, np.zeros(1))
    assert found.methods == ("purity",)
    assert found.inverted_pct[0, 0] == pytest.approx(0.1, abs=5e-4)


def test_nothing_reported_gives_no_method():
    found = pair_estimates({}, {}, np.zeros(3))
    assert found.methods == ()
    assert found.inverted_pct.shape == (3, 0)
