"""Errors of scale and zero on exported courses, and meters that show cold volumes."""

from __future__ import annotations

import iapws
import numpy as np
import pytest

from models.simulator import Manners, PlantParameters, with_manners
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import everyday
from models.simulator.drive import drive_matrix
from models.simulator.integrate import integrate
from models.simulator.meters import as_metered, meter_errors
from models.simulator.tags import TAGS
from models.simulator.truth_series import tag_courses

FLOWS = [tag.name for tag in TAGS if tag.name.split(".")[1].startswith("F")]
LEVELS = [tag.name for tag in TAGS if tag.name.split(".")[1].startswith("L")]
TEMPS = [tag.name for tag in TAGS if tag.name.split(".")[1].startswith("T")]


def courses_of(manners):
    plant = with_manners(PlantParameters(), manners)
    count = int(6 / p.STEP_H)
    drive = everyday(np.random.default_rng(0), count)
    matrix = drive_matrix(drive, plant)[:, None, :]
    start = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    return tag_courses(integrate(plant, start, matrix, contents=True), drive, plant)


@pytest.fixture(scope="module")
def true():
    return courses_of(None)


@pytest.mark.parametrize(
    ("manners", "wrong"),
    [
        (Manners(seed=1, flow_scale_sd=0.02, flow_zero_pct=1.0), FLOWS),
        (Manners(seed=1, level_scale_sd=0.02, level_zero_pct=2.0), LEVELS),
        (Manners(seed=1, temp_zero_k=0.5), TEMPS),
    ],
)
def test_only_the_meters_named_err_and_by_a_line(true, manners, wrong):
    shown = courses_of(manners)
    assert {n for n in true if not np.array_equal(shown[n], true[n])} == set(wrong)
    for name in wrong:
        scale, zero = meter_errors(manners, name)
        usual = np.median(true[name]) / 100.0 if name in FLOWS else 1.0
        assert shown[name] == pytest.approx(true[name] * (1.0 + scale) + zero * usual)


def test_errors_have_the_size_that_was_asked_for():
    many = [
        meter_errors(Manners(seed=s, flow_scale_sd=0.02, level_zero_pct=2.0, temp_zero_k=0.5), tag)
        for s in range(400)
        for tag in ("ST.FI301", "ST.LI305", "CT.TI402")
    ]
    flow, level, temp = np.array(many[0::3]), np.array(many[1::3]), np.array(many[2::3])
    assert flow.std(axis=0) == pytest.approx([0.02, 0.0], rel=0.1)
    assert level.std(axis=0) == pytest.approx([0.0, 2.0], rel=0.1)
    assert temp.std(axis=0) == pytest.approx([0.0, 0.5], rel=0.1)
    # Two meters of one mill have nothing in common.
    other = [meter_errors(Manners(seed=s, flow_scale_sd=0.02), "CT.FI403")[0] for s in range(400)]
    assert abs(np.corrcoef(flow[:, 0], other)[0, 1]) < 0.15


def test_other_tags_and_mills_without_manners_have_no_error(true):
    loud = Manners(flow_scale_sd=0.02, level_scale_sd=0.02, temp_zero_k=1.0)
    assert meter_errors(loud, "ST.AI308") == (0.0, 0.0)
    assert meter_errors(loud, "ML.WI001") == (0.0, 0.0)
    assert meter_errors(None, "ST.FI301") == (0.0, 0.0)
    assert all(as_metered(true, None)[name] is series for name, series in true.items())


def test_cold_meters_show_the_volume_at_thirty_degrees(true):
    """IAPWS-IF97 water: juice at 98 degC takes 3.7 % more room than at 30 degC."""

    def density(degc):
        return iapws.IAPWS97(T=degc + 273.15, P=0.3).rho

    shown = courses_of(Manners(cold_meters=True))
    for name, degc in (("MJ.FI101", 35), ("ST.FI301", 98), ("CT.FI403", 96), ("ST.FI306", 97)):
        ratio = shown[name].sum() / true[name].sum()
        assert ratio == pytest.approx(density(degc) / density(30), rel=1e-3), name
    same = set(true) - {"MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306"}
    assert all(np.array_equal(shown[name], true[name]) for name in same)
