"""A probe's drift is told from what is believed of its bias, from the day it began."""

from datetime import UTC, datetime

import numpy as np
import pytest

from models.amount import ProbeBias
from models.base import Minutes
from models.detect import drifting_hours, witness_of
from models.search import find_spans, look_at, residual_of

DAY = 1440
DAYS = 42
BEGAN, ENDED = 20 * DAY, 29 * DAY


def minutes():
    stopped = np.zeros(DAYS * DAY)
    stopped[5 * DAY :][:300] = 1.0
    running = {"sucrose_feed_kg_h": np.ones(DAYS * DAY), "stopped": stopped}
    return Minutes(datetime(2001, 1, 1, tzinfo=UTC), running, {})


def bias(end_ph, seed=3):
    """What grabs every three hours tell, smoothed: an error of 0.03 pH with half a day's memory."""
    rng = np.random.default_rng(seed)
    shocks, error = rng.standard_normal(DAYS * 8), np.zeros(DAYS * 8)
    for n in range(1, len(error)):
        error[n] = 0.78 * error[n - 1] + 0.03 * np.sqrt(1 - 0.78**2) * shocks[n]
    told = np.interp(np.arange(DAYS * DAY), np.arange(DAYS * 8) * 180, error)
    told[BEGAN:ENDED] += np.linspace(0.0, end_ph, ENDED - BEGAN)
    return ProbeBias(told, np.full(DAYS * DAY, 0.04), DAYS * 8)


@pytest.mark.parametrize("seed", range(3))
def test_a_drift_is_told_from_near_its_beginning_to_when_it_was_put_right(seed):
    told = np.flatnonzero(drifting_hours(bias(0.35, seed), minutes()))
    assert told[0] == pytest.approx(BEGAN, abs=3 * DAY)
    assert told[-1] == pytest.approx(ENDED, abs=DAY / 2)


def test_a_calm_probe_drifts_never_and_no_grabs_tell_of_none():
    assert not drifting_hours(bias(0.0), minutes()).any()
    assert not drifting_hours(None, minutes()).any()
    assert np.isnan(witness_of(bias(0.0), minutes())[5 * DAY + 10])  # nobody measures a stop


def test_drifting_hours_teach_nothing_of_the_usual():
    plain = minutes()
    drifting = np.zeros(plain.n, dtype=bool)
    drifting[BEGAN:ENDED] = True
    told = Minutes(plain.start_utc, plain.station, {}, drifting)
    assert told.usual.sum() == plain.usual.sum() - (ENDED - BEGAN)
    assert not plain.usual[5 * DAY + 10]


def test_a_drift_under_the_unrest_of_its_channel_is_found_by_its_witness_alone():
    rng, station = np.random.default_rng(4), minutes()
    seen = bias(0.35)
    # Unrest of a third of the usual loss, kept for half a day.
    unrest = np.repeat(0.33 * rng.standard_normal(DAYS * 2), 720)
    kg_h = 100.0 * (10.0 ** np.where(seen.bias > 0, seen.bias, 0.0) * np.exp(unrest) - 1.0)
    quiet, look = np.ones(station.n, dtype=bool), look_at(kg_h, 100.0)
    witness = look_at(witness_of(seen, station), None, smooth=True)
    alone = find_spans(residual_of(kg_h, quiet, look), 0.04, 0.0, 1.0, fades=True)
    both = find_spans(residual_of(kg_h, quiet, look, witness), 0.04, 0.0, 1.0, fades=True)

    def shared(spans):
        told = np.zeros(station.n, dtype=bool)
        for span in spans:
            told[span.start : span.end] = True
        return told[BEGAN:ENDED].mean()

    assert shared(both) > 0.6 > shared(alone)
