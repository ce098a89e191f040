"""One sensor against all others: a notice, not a loss; and a loss again once others follow."""

import numpy as np
import pytest
from slow_case import slow

from models.base.settings import Settings

FIRST, LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60
SETTINGS = Settings(smallest_finding_t=0.08)


@pytest.fixture
def sensor_fault(plant):
    """Search the plant and demand that only one tag is doubted."""

    def demand(tag):
        losses = plant.search(SETTINGS)
        assert losses.findings.is_empty(), losses.findings.select("cause", "started", "lost_t")
        assert {fault.tag for fault in losses.faults} == {tag}
        texts = losses.notices.filter(losses.notices["kind"] == "sensor_fault")["text"].to_list()
        assert texts
        assert all(text.startswith(f"{tag}: ") and "gauge on the spot" in text for text in texts)
        return losses

    return demand


@pytest.mark.parametrize(
    ("tag", "by"),
    [
        ("EV.TI501", 8.0),  # a thermometer that steps
        slow("ST.TI304", 5.0),  # the settler has no heat of its own
        slow("CT.LI401", 60.0),  # a level that jumps to full scale
    ],
)
def test_a_reading_that_steps_alone_is_a_sensor_fault(plant, sensor_fault, tag, by):
    plant.tag(tag)[FIRST:LAST] += by
    losses = sensor_fault(tag)
    (fault,) = losses.faults
    assert abs(fault.start - FIRST) <= 60
    assert fault.kg > 80.0


def test_a_temperature_frozen_high_is_a_sensor_fault(plant, sensor_fault):
    plant.tag("EV.TI501")[FIRST:LAST] = 121.3
    sensor_fault("EV.TI501")


@pytest.mark.slow
def test_a_level_that_creeps_up_without_juice_is_a_sensor_fault(plant, sensor_fault):
    course = np.interp(np.arange(plant.n), [FIRST, FIRST + 150, LAST, LAST + 150], [0, 60, 60, 0])
    plant.tag("CT.LI401")[:] += course
    sensor_fault("CT.LI401")


@pytest.mark.slow
def test_a_mud_level_that_jumps_is_a_sensor_fault(plant, sensor_fault):
    plant.tag("ST.LI305")[FIRST : LAST + 600] = 99.0
    sensor_fault("ST.LI305")


@pytest.mark.parametrize("to", [0.5, 0.0])
def test_a_feed_meter_that_falls_alone_is_a_sensor_fault(plant, sensor_fault, to):
    plant.tag("MJ.FI101")[FIRST:LAST] *= to
    losses = sensor_fault("MJ.FI101")
    assert "handled_stop" not in losses.notices["kind"].to_list()


@pytest.mark.parametrize(
    ("tags", "by", "cause"),
    [
        (("CH.TI411", "EV.TI501"), 8.0, "overheating"),
        (("FT.TI231", "ST.TI304", "ST.TI307", "CT.TI402"), 5.0, "overheating"),
    ],
)
def test_a_rise_that_others_share_is_a_loss(plant, tags, by, cause):
    for tag in tags:
        plant.tag(tag)[FIRST:LAST] += by
    losses = plant.search(SETTINGS)
    assert losses.faults == ()
    assert cause in losses.findings["cause"].to_list()


def test_a_tank_that_juice_filled_is_a_loss(plant):
    plant.hold_tank(FIRST, LAST)
    losses = plant.search(SETTINGS)
    assert losses.faults == ()
    assert losses.findings["cause"].to_list() == ["tank_held"]


@pytest.mark.parametrize("others", [("CH.TI411",), ()])
def test_where_nothing_else_is_measured_the_episode_stands(plant, others):
    plant.tag("EV.TI501")[FIRST:LAST] += 8.0
    plant.tag("CH.TI411")[:] = 110.0 if others else np.nan
    losses = plant.search(SETTINGS)
    assert losses.faults == ()
    assert losses.findings["cause"].to_list() == ["overheating"]


@pytest.mark.parametrize("grabs_fall", [False, True])
def test_a_clear_juice_probe_that_falls_alone_is_no_loss(plant, grabs_fall):
    plant.tag("ST.AI308")[FIRST:LAST] -= 0.45
    if grabs_fall:
        plant.shift_lab("settler", FIRST / 60, LAST / 60, -0.45)
    causes = plant.search(SETTINGS).findings["cause"].to_list()
    assert causes == (["unexplained"] if grabs_fall else [])
