"""Mud held: by its level, by the balance of mud where no level is read, and the room it takes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from features.flow.minutes import derive
from features.flow.mud import MUD_REL_SD, mud_told

LEVEL = "mud_level_settler_mud_pct"
N, FIRST, HOURS = 3000, 1500, 8
HELD = (np.arange(N) >= FIRST) & (np.arange(N) < FIRST + 60 * HOURS)


def without_level(station):
    return replace(station, signals=tuple(s for s in station.signals if s.tag != "ST.LI305"))


def zones(derived):
    frame = derived.zone_minutes
    return frame.filter(zone="settler"), frame.filter(zone="settler:mud")


def test_mud_that_is_not_drawn_is_held_though_no_level_is_read(brindlewater, nominal_grid):
    under = np.where(HELD, 15.0, 25.0)
    grid = nominal_grid(N, drop=(LEVEL,), flow_settler_mud_m3_h=under)
    settler, mud = zones(derive(grid, without_level(brindlewater)))
    grown = mud["volume_m3"][FIRST + 60 * HOURS] - mud["volume_m3"][FIRST - 1]
    # By hand: 10 m3/h for 8 h; the pull back to the target takes a day's share of it.
    assert grown == pytest.approx(80.0 * 0.85, rel=0.03)
    room = settler["volume_m3"][FIRST - 1] - settler["volume_m3"][FIRST + 60 * HOURS - 1]
    assert room == pytest.approx(grown, rel=0.05)
    # The settler as a whole neither grows nor shrinks: what is not drawn runs over.
    over = settler["flow_out_m3_h"][FIRST + 240]
    assert over == pytest.approx(268.0 - 15.0, abs=0.6)


def test_the_mud_of_a_level_takes_the_same_room(brindlewater, nominal_grid):
    grid = nominal_grid(N, **{LEVEL: np.where(np.arange(N) > FIRST, 85.0, 45.0)})
    settler, mud = zones(derive(grid, brindlewater))
    assert mud["volume_m3"][-1] - mud["volume_m3"][0] == pytest.approx(56.0)
    assert settler["volume_m3"][0] - settler["volume_m3"][-1] == pytest.approx(56.0)
    assert settler["residence_min"][-1] < 0.87 * settler["residence_min"][FIRST - 1]


def test_the_balance_does_not_drift_with_a_meter_that_errs(brindlewater, nominal_grid):
    grid = nominal_grid(N, drop=(LEVEL,), flow_settler_mud_m3_h=25.0 * 1.3)
    _settler, mud = zones(derive(grid, without_level(brindlewater)))
    assert mud["volume_m3"].to_numpy() == pytest.approx(63.0, abs=1.0)


def test_mud_drawn_off_a_standing_settler_makes_no_juice(brindlewater, nominal_grid):
    flow = np.where(HELD, 0.0, 265.0)
    grid = nominal_grid(
        N,
        drop=(LEVEL,),
        flow_mixed_juice_m3_h=flow,
        flow_settler_in_m3_h=flow,
        flow_clear_juice_tank_out_m3_h=flow,
        flow_settler_mud_m3_h=np.where(HELD, 10.0, 25.0),
    )
    settler, mud = zones(derive(grid, without_level(brindlewater)))
    held = settler["volume_m3"][FIRST : FIRST + 60 * HOURS]
    assert held.max() - held.min() < 1e-6
    assert mud["volume_m3"][FIRST + 300] < mud["volume_m3"][FIRST - 1] - 40.0


def test_how_the_mud_is_known_is_told(brindlewater):
    settler = brindlewater.vessels[4]
    blind = without_level(brindlewater)
    neither = replace(blind, signals=tuple(s for s in blind.signals if s.tag != "ST.FI306"))
    told = [mud_told(s, settler) for s in (brindlewater, blind, neither)]
    assert told == ["read", "balance", "target"]
    errors = [MUD_REL_SD[t] for t in told]
    assert errors == sorted(errors)
