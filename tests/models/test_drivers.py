"""The excess of a zone, split between its drivers with the pH put right."""

from datetime import UTC, datetime

import numpy as np
import pytest

from models.drivers import DRIVERS, split_excess
from models.minutes import Minutes

ONE = np.ones(3)


def minutes_of(w_limed, w_clear, **factors):
    zone = {"ref_kg_h": 10.0 * ONE, "w_ph_limed": w_limed * ONE, "w_ph_clear": w_clear * ONE}
    names = ("f_ph", "f_temp", "f_brix", "f_volume", "f_flow")
    zone |= {name: factors.get(name, 1.0) * ONE for name in names}
    loss = 10.0 * np.prod([zone[n] for n in names[:4]], axis=0)
    zone |= {"loss_kg_h": loss, "loss_ref_kg_h": 10.0 * zone["f_flow"]}
    station = {"sucrose_feed_kg_h": 1000.0 * ONE, "stopped": 0.0 * ONE}
    return Minutes(datetime(2025, 10, 6, tzinfo=UTC), station, {"settler": zone})


@pytest.mark.parametrize(("limed", "clear"), [(0.3, 0.0), (0.0, 0.3), (0.3, -0.1)])
def test_a_probe_that_reads_high_hides_a_loss_ten_to_its_bias(limed, clear):
    # First order in H+: reading high by b means a rate 10**b times the one computed.
    excess = split_excess(minutes_of(0.2, 0.8), limed * ONE, clear * ONE)
    expected = 10.0 * 10.0 ** (0.2 * limed + 0.8 * clear)
    assert excess.loss_kg_h["settler"] == pytest.approx(expected * ONE)
    assert excess.by_driver["settler", "ph"] == pytest.approx((expected - 10.0) * ONE)


def test_shares_add_up_to_the_whole_excess():
    minutes = minutes_of(0.2, 0.8, f_ph=1.7, f_temp=0.9, f_brix=1.1, f_volume=1.4, f_flow=0.6)
    excess = split_excess(minutes, 0.1 * ONE, 0.2 * ONE)
    total = sum(excess.by_driver["settler", driver] for driver in DRIVERS)
    assert total == pytest.approx(excess.total)
    assert excess.driver("throughput")[0] > 0


def test_a_stop_charges_the_whole_loss_and_stays_finite():
    excess = split_excess(minutes_of(0.2, 0.8, f_flow=0.0), 0.0 * ONE, 0.0 * ONE)
    assert excess.total == pytest.approx(10.0 * ONE)
    assert excess.by_driver["settler", "throughput"] == pytest.approx(10.0 * ONE)


def test_an_unmeasured_driver_is_unknown_and_the_others_are_not():
    minutes = minutes_of(0.2, 0.8, f_volume=2.0)
    minutes.zones["settler"]["f_ph"][1] = np.nan
    minutes.zones["settler"]["loss_kg_h"][1] = np.nan
    excess = split_excess(minutes, 0.0 * ONE, 0.0 * ONE)
    assert np.isnan(excess.by_driver["settler", "ph"][1])
    assert np.isfinite(excess.by_driver["settler", "volume"]).all()
    assert excess.measured.tolist() == [True, False, True]
