"""A channel whose chance cannot be learnt says so, in its findings and in the season's list."""

import json
from dataclasses import replace

import numpy as np

from models.base import Settings
from models.detect import Channel, kind_of, uncalibrated_of
from models.detect.uncalibrated import PERIODS, SPELLS
from models.search import Residual, Span, q_values
from models.search.episodes import residual_of
from models.search.look import look_at
from models.search.significance import CONFIDENT_Q

TAGS = ("CH.TI411", "EV.TI501")
START = 8 * 1440


def test_a_channel_that_never_comes_back_says_so_and_is_never_confident(plant, station):
    """Heat that walks at random, with ten hours of 10 K more in it."""
    plant = type(plant)(station, days=14)
    walk = np.cumsum(np.random.default_rng(1).standard_normal(plant.n)) * 0.2 / np.sqrt(60)
    walk -= walk.mean()
    walk[START : START + 600] += 10.0
    for tag in TAGS:
        plant.tag(tag)[:] += walk
    losses = plant.search(Settings(smallest_finding_t=0.02))
    (row,) = losses.findings.to_dicts()
    assert row["cause"] == "overheating"
    assert json.loads(row["evidence"])["uncalibrated"] == PERIODS
    assert (row["p_value"], row["mark"]) == (0.01, "listed")
    # The other channels stand still and are not named.
    assert losses.uncalibrated.rows() == [("heat", "first_evaporator", PERIODS)]


def test_a_sound_mill_lists_none_and_its_findings_say_nothing_of_it(plant):
    for tag in TAGS:
        plant.tag(tag)[START : START + 480] += 8.0
    losses = plant.search(Settings(smallest_finding_t=0.02))
    assert losses.uncalibrated.is_empty()
    assert "uncalibrated" not in json.loads(losses.findings["evidence"][0])


def test_it_is_listed_without_any_finding_and_by_kind():
    # A random walk never comes back, by definition; what is read off has nothing to calibrate.
    walk = np.cumsum(np.random.default_rng(3).standard_normal(8 * 10_080))
    residual = residual_of(walk, np.ones(len(walk), bool), look_at(walk, None))
    wild = replace(residual.look.up_chance, sure=False)
    both = replace(residual, look=replace(residual.look, up_chance=wild))
    bare = Residual(np.zeros(9), np.empty(0), np.zeros(9), 0.0)
    heat, hold = (Channel(name, "settler", ("settler",), walk) for name in ("heat", "hold"))
    told = uncalibrated_of([(heat, residual), (hold, bare)]).rows()
    assert told == [("heat", "settler", PERIODS)]
    kinds = uncalibrated_of([(heat, both)])["kind"].to_list()
    assert kinds == [PERIODS, SPELLS]
    # The series in which one fault of a channel shows by itself is a search of its own.
    calm = np.random.default_rng(3).standard_normal(20_160)
    sound = residual_of(calm, np.ones(20_160, bool), look_at(calm, None))
    beside = replace(sound, witness=residual.look)
    assert uncalibrated_of([(heat, beside)]).rows() == [("heat_witness", "settler", PERIODS)]


def test_kind_of_an_episode():
    span = Span(0, 60, 1.0, 1.0, 5.0)
    assert kind_of(span) is None
    assert kind_of(replace(span, sure=False)) == PERIODS
    assert kind_of(replace(span, sure=False, spells=True)) == SPELLS


def test_no_number_of_findings_makes_a_p_of_one_in_a_hundred_confident():
    # Two weeks of ten channels: 560 cells. Even with a finding in every twentieth of them.
    assert q_values(np.full(28, 0.01), 560).min() > CONFIDENT_Q
