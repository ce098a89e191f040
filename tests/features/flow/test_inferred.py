"""Temperatures that no thermometer reads: from a vapour pressure, a neighbour, or not at all."""

from __future__ import annotations

from dataclasses import replace

import iapws
import numpy as np
import polars as pl
import pytest

from features.base.station import Signal
from features.flow.inferred import TEMPERATURE_SD_K, temperature_source, zone_temperature_source
from features.flow.minutes import derive

VAPOUR = Signal("EV.PI504", "steam_pressure", "first_evaporator", "inside", "kPa", 10, 400)
EVAPORATOR_DEGC = "temp_first_evaporator_inside_degc"


def lacking(station, *tags, also=()):
    kept = tuple(s for s in station.signals if s.tag not in tags)
    return replace(station, signals=(*kept, *also))


def zone(derived, name):
    return derived.zone_minutes.filter(zone=name)


def with_pressure(grid, kpa):
    values = np.broadcast_to(np.asarray(kpa, dtype=float), (grid.height,))
    return grid.with_columns(pl.Series(VAPOUR.name, values))


def test_an_evaporator_without_a_thermometer_is_as_hot_as_its_vapour_says(
    brindlewater, nominal_grid
):
    station = lacking(brindlewater, "EV.TI501", also=(VAPOUR,))
    rising = np.linspace(140.0, 190.0, 600)
    grid = with_pressure(nominal_grid(drop=(EVAPORATOR_DEGC,)), rising)
    found = zone(derive(grid, station), "first_evaporator")["temp_degc"].to_numpy()
    water = [iapws.IAPWS97(P=kpa / 1000.0, x=0).T - 273.15 for kpa in rising[::100]]
    # Water boils as the industrial formulation says; 20 Brix lift it by about 0.4 K (0.39 K at
    # 101 kPa by Starzak 1997, computed with its constants).
    assert found[::100] - water == pytest.approx(0.42, abs=0.04)
    assert temperature_source(station, station.vessels[-1]).told == "vapour"


def test_a_pressure_that_is_the_open_airs_tells_no_temperature_of_a_stop(
    brindlewater, nominal_grid
):
    station = lacking(brindlewater, "EV.TI501", also=(VAPOUR,))
    n, first, air = 900, 300, 360
    flow = np.where(np.arange(n) < first, 265.0, 0.0)
    kpa = np.interp(np.arange(n), [first, air], [160.0, 100.0])
    grid = with_pressure(
        nominal_grid(
            n,
            drop=(EVAPORATOR_DEGC,),
            flow_mixed_juice_m3_h=flow,
            flow_settler_in_m3_h=flow,
            flow_clear_juice_tank_out_m3_h=flow,
        ),
        kpa,
    )
    found = zone(derive(grid, station), "first_evaporator")
    assert found["loss_kg_h"][: first + 40].null_count() == 0
    assert found["loss_kg_h"][air:].null_count() == n - air
    assert found["temp_degc"][first + 40] < found["temp_degc"][first - 1] - 5.0


def test_a_tank_without_a_thermometer_follows_the_settler_and_cools_in_a_stop(
    brindlewater, nominal_grid
):
    station = lacking(brindlewater, "CT.TI402")
    n, first = 900, 300
    flow = np.where(np.arange(n) < first, 265.0, 0.0)
    grid = nominal_grid(
        n,
        drop=("temp_clear_juice_tank_inside_degc",),
        temp_settler_inside_degc=99.5,
        flow_mixed_juice_m3_h=flow,
        flow_settler_in_m3_h=flow,
        flow_clear_juice_tank_out_m3_h=flow,
    )
    found = zone(derive(grid, station), "clear_juice_tank")["temp_degc"].to_numpy()
    # Targets 95 and 97.5 degC: 2.5 K below the settler, wherever that is.
    assert found[:first] == pytest.approx(97.0)
    assert found[-1] == pytest.approx(97.0 - 10.0, abs=0.1)
    source = temperature_source(station, station.vessels[5])
    assert (source.told, source.tag) == ("neighbour", "ST.TI304")
    assert source.sd_k > TEMPERATURE_SD_K["read"]


def test_juice_behind_a_flash_tank_is_no_hotter_for_a_hotter_heater(brindlewater, nominal_grid):
    station = lacking(brindlewater, "ST.TI304", "FT.TI231", "ST.TI307")
    drop = ("temp_settler_inside_degc", "temp_flash_tank_out_degc", "temp_settler_mud_degc")
    for heater, settler in ((103.0, 97.5), (109.0, 97.5), (98.3, 95.5)):
        grid = nominal_grid(200, drop=drop, temp_secondary_heater_out_degc=heater)
        found = zone(derive(grid, station), "settler")["temp_degc"][-1]
        assert found == pytest.approx(settler)


def test_what_only_a_target_tells_is_called_so(brindlewater):
    station = lacking(brindlewater, "EV.TI501", "ST.TI307")
    assert zone_temperature_source(station, "first_evaporator").told == "target"
    assert zone_temperature_source(station, "settler:mud").told == "target"
    assert zone_temperature_source(brindlewater, "settler:mud").told == "read"


def test_brix_that_no_tag_reads_is_the_laboratorys_and_told_as_nobodys(brindlewater, nominal_grid):
    station = lacking(brindlewater, "MJ.AI103", "EV.AI503")
    drop = ("brix_mixed_juice_pct", "brix_first_evaporator_out_pct")
    grid = nominal_grid(drop=drop).with_columns(
        brix_mixed_juice_lab_pct=pl.Series([13.0] * 500 + [None] * 100)
    )
    derived = derive(grid, station)
    assert derived.station_minutes["brix_feed_pct"].null_count() == 600
    assert zone(derived, "settler")["brix_pct"][499] == pytest.approx(13.0, rel=1e-3)
    # The evaporator boils off its usual share of the water: 20 % at a target feed of 14.5 %.
    evaporator = zone(derived, "first_evaporator")["brix_pct"]
    assert evaporator[499] == pytest.approx(20.0 * 13.0 / 14.5, rel=1e-3)
    assert (
        derived.station_minutes["sucrose_feed_kg_h"][599]
        > derived.station_minutes["sucrose_feed_kg_h"][499]
    )
