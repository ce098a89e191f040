"""Stations drawn at random cover what mills differ in, and historians write as they are told."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from models.simulator import SEASON_START_UTC, PlantParameters, draw_any_plant, draw_plant
from models.simulator.observe import Written, export_tags
from models.simulator.tags import TAGS, sampled

#: Range promised in the docstring of draw_any_plant; volumes carry a further few per cent.
RANGES = {
    "kinetics_multiplier": (0.6, 3.0),
    "ph_slope": (-0.0085, -0.0035),
    "buffer_meq_l_ph": (5.5, 11.0),
    "liming_m3": (0.75 * 90, 1.3 * 90),
    "evaporator_m3": (0.75 * 28, 1.3 * 28),
    "settler_m3": (0.75 * 332 * 0.8, 1.3 * 332 * 1.2),
    "dead_fraction": (0.03, 0.22),
    "unrest": (1.0, 1.6),
    "lab_error": (0.7, 1.6),
    "lab_gap": (1.0, 1.5),
    "deadband": (0.5, 2.0),
    "sampling": (1, 3),
    "heartbeat_s": (120.0, 540.0),
}


@pytest.mark.parametrize("name", sorted(RANGES))
def test_any_plant_fills_its_range(name):
    low, high = RANGES[name]
    drawn = [getattr(draw_any_plant(seed), name) for seed in range(600, 660)]
    assert low <= min(drawn) and max(drawn) <= high
    assert len(set(drawn)) > 2
    # Sixty draws reach into both outer thirds of the range.
    assert min(drawn) < low + (high - low) / 3 and max(drawn) > high - (high - low) / 3


def test_ordinary_plants_keep_the_ordinary_historian():
    plain = PlantParameters()
    for seed in (7, 100):
        plant = draw_plant(seed)
        assert (plant.sampling, plant.deadband) == (1, 1.0)
        assert (plant.heartbeat_s, plant.unrest) == (plain.heartbeat_s, plain.unrest)


def test_sampling_is_slowed_but_never_made_faster():
    for tag in TAGS:
        assert [sampled(tag, n).every_s for n in (1, 3)] == [
            tag.every_s,
            {10: 30, 30: 90, 60: 120}[tag.every_s],
        ]


def test_export_is_sampled_and_compressed_as_told():
    hours = np.arange(240) / 120
    courses = {tag.name: np.full(240, 50.0) for tag in TAGS} | {"MJ.FI101": 200 + 60 * hours}
    rng = np.random.default_rng(1)
    written = Written(sampling=2, deadband=0.5, heartbeat_s=400.0)
    tags = export_tags(rng, courses, (), SEASON_START_UTC, clean=True, written=written)
    seconds = (pl.col("time") - pl.lit(SEASON_START_UTC)).dt.total_seconds()

    def gaps(name):
        return tags.filter(pl.col("tag") == name).select(seconds.diff().drop_nulls())["time"]

    # Nothing moves: written at each heartbeat, a whole number of samples not above 400 s.
    assert gaps("CT.LI401").unique().to_list() == [360]
    # One m3/h a minute, deadband 2 m3/h: the first sample more than two minutes on is written.
    assert gaps("MJ.FI101").unique().to_list() == [140]
