"""The record run again: identity, what each change does, and what it leaves alone."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from features.kinetics import ph_after_acid, rate_per_kelvin
from features.replay import Change, parse_change, recorded, rerun, station_column, zone_columns


def run(record, station, *said):
    return rerun(record, [parse_change(text, station) for text in said])


def losses(derived, rows):
    return {z: float(np.nansum(v[rows])) for z, v in zone_columns(derived, "loss_kg_h").items()}


def ratios(found):
    now = found.inside[found.source]
    was, again = losses(found.recorded, found.inside), losses(found.replayed, now)
    return {zone: again[zone] / was[zone] for zone in was}


@pytest.mark.parametrize(
    "said", [(), ("ph_limed=+0",), ("settler.temp_degc=+0", "flow=+0%"), ("stop_h=-0",)]
)
def test_with_nothing_changed_it_is_the_record(record, brindlewater, said):
    found = run(record, brindlewater, *said)
    for column in ("loss_kg_h", "rs_destroyed_kg_h", "ph_cold"):
        was, now = (zone_columns(d, column) for d in (found.recorded, found.replayed))
        for zone in was:
            np.testing.assert_allclose(now[zone], was[zone], rtol=0, atol=1e-9)


def test_a_change_that_comes_to_nothing_leaves_the_record_to_the_last_digit(record, brindlewater):
    # An absolute value that is what is read already runs the whole way through.
    found = run(record, brindlewater, "secondary_heater.temp_degc=103")
    was, now = (zone_columns(d, "loss_kg_h") for d in (found.recorded, found.replayed))
    for zone in was:
        np.testing.assert_allclose(now[zone], was[zone], rtol=0, atol=1e-9)


def test_nothing_moves_before_the_period(record, brindlewater):
    found = run(record, brindlewater, "ph_limed=+0.2", "settler.temp_degc=-2")
    before = ~found.inside & (np.arange(found.inside.size) < np.argmax(found.inside))
    was, now = (zone_columns(d, "loss_kg_h") for d in (found.recorded, found.replayed))
    for zone in was:
        # Expansion by heat rests on a running mean: a few minutes feel what comes.
        np.testing.assert_allclose(now[zone][before], was[zone][before], rtol=1e-4)
        np.testing.assert_allclose(now[zone][before][:-15], was[zone][before][:-15], rtol=1e-9)


def test_a_higher_limed_ph_slows_inversion_by_ten_to_its_power(record, brindlewater):
    # Inversion is of first order in hydrogen ions (confirmed: Vukov's and every later rate law).
    found = run(record, brindlewater, "ph_limed=+0.2")
    by = ratios(found)
    assert by["liming_tank"] == pytest.approx(10**-0.2, rel=1e-3)
    assert by["primary_heater"] == pytest.approx(1.0, abs=1e-9)
    # Further down the juice makes more acid the higher its pH: less than 0.2 is left of it.
    for zone in ("settler", "clear_juice_tank", "first_evaporator"):
        assert 10**-0.2 < by[zone] < 10**-0.14
    assert by["first_evaporator"] > by["settler"]
    clear = (station_column(d, "ph_clear") for d in (found.recorded, found.replayed))
    was, now = (values[2 * 1440 + 300 : 3 * 1440] for values in clear)
    assert 0.15 < float(np.mean(now - was)) < 0.199


def test_acid_left_of_a_moved_ph_is_that_of_the_closed_form(brindlewater, nominal_grid, inside):
    # Steady: the fall by acid between probes by the law of juice, 3**(7 - pH) growing evenly
    # (Brown 2009 has the arithmetic of first-order decay; the tripling per pH is common practice).
    record = recorded(nominal_grid(4 * 1440), brindlewater, inside)
    found = run(record, brindlewater, "ph_limed=+0.2")
    late = slice(3 * 1440 - 60, 3 * 1440 - 1)
    made = station_column(found.recorded, "rs_destroyed_pred_pct")[late].mean() / 100.0
    acid = made * 14.5 * 84.0 * 4.0 / 180.156 * 1.4 / 8.0
    middle = 7.0
    dose = (3.0**acid - 1.0) / np.log(3.0) / 3.0 ** (middle - 7.0)
    left = ph_after_acid(middle + 0.2, dose) - ph_after_acid(middle, dose)
    clear = (station_column(d, "ph_clear")[late].mean() for d in (found.replayed, found.recorded))
    assert next(clear) - next(clear) == pytest.approx(left, abs=0.002)


def test_a_hotter_evaporator_loses_by_its_activation_energy_and_nothing_else(record, brindlewater):
    by = ratios(run(record, brindlewater, "first_evaporator.temp_degc=+2"))
    assert by.pop("first_evaporator") == pytest.approx(
        np.exp(2.0 * rate_per_kelvin(114.0)), rel=0.03
    )
    assert all(value == pytest.approx(1.0, abs=1e-9) for value in by.values())


def test_what_has_its_heat_from_the_settler_cools_with_it_and_later(record, brindlewater):
    found = run(record, brindlewater, "settler.temp_degc=-2")
    was, now = (zone_columns(d, "temp_degc") for d in (found.recorded, found.replayed))
    first = int(np.argmax(found.inside))
    fall = {zone: now[zone] - was[zone] for zone in was}
    assert fall["settler"][first] == pytest.approx(-2.0)
    assert -1.0 < fall["clear_juice_tank"][first] < 0.0
    assert fall["clear_juice_tank"][first + 300] == pytest.approx(-2.0, abs=0.01)
    assert fall["settler:mud"][first + 60] > fall["settler:mud"][first + 600] > -2.01
    assert not np.any(fall["clear_juice_heater"])


def test_a_flash_tank_boils_whatever_comes_hotter(record, brindlewater):
    hotter = run(record, brindlewater, "secondary_heater.temp_degc=+3")
    # What the heater's own juice sours more by is all that is felt.
    assert ratios(hotter)["settler"] == pytest.approx(1.0, abs=5e-3)
    was, now = (zone_columns(d, "temp_degc")["settler"] for d in (hotter.recorded, hotter.replayed))
    np.testing.assert_array_equal(now, was)
    colder = run(record, brindlewater, "secondary_heater.temp_degc=-5")
    was, now = (zone_columns(d, "temp_degc")["settler"] for d in (colder.recorded, colder.replayed))
    # From 103 to 98 degC, where 100.3 boils: 2.3 K are left of the 5.
    assert (now - was)[3 * 1440 - 1] == pytest.approx(-2.3, abs=0.02)


def test_a_tank_loses_as_it_is_filled(record, brindlewater):
    found = run(record, brindlewater, "clear_juice_tank.level_pct=-10")
    by = ratios(found)
    # The juice is younger, so a little sweeter to keep and a little warmer: within 3 %.
    assert by["clear_juice_tank"] == pytest.approx(25.0 / 35.0, rel=0.03)
    assert by["settler"] == pytest.approx(1.0, abs=1e-9)
    assert by["first_evaporator"] < 1.0


def test_more_throughput_costs_less_for_the_same_sucrose(record, brindlewater):
    found = run(record, brindlewater, "flow=+10%")
    fed = [
        float(np.nansum(station_column(d, "sucrose_feed_kg_h")[found.inside]))
        for d in (found.recorded, found.replayed)
    ]
    assert fed[1] / fed[0] == pytest.approx(1.1, rel=1e-6)
    total = sum(losses(found.replayed, found.inside).values()) / sum(
        losses(found.recorded, found.inside).values()
    )
    assert 0.86 < total / 1.1 < 0.93


def test_more_water_keeps_the_solids(record, brindlewater):
    found = run(record, brindlewater, "imbibition=+10%")
    fed, brix = (
        [station_column(d, c)[found.inside] for d in (found.recorded, found.replayed)]
        for c in ("sucrose_feed_kg_h", "brix_feed_pct")
    )
    np.testing.assert_allclose(fed[1], fed[0], rtol=1e-3)
    assert np.all(brix[1] < brix[0] - 0.2)
    with pytest.raises(ValueError, match="no tag of this mill measures imbibition"):
        without = replace(
            brindlewater,
            signals=tuple(s for s in brindlewater.signals if s.quantity != "imbibition_flow"),
        )
        grid = record.readings.grid().drop("imbibition_flow_mill_m3_h")
        rerun(recorded(grid, without, record.inside), [Change("imbibition", "factor", 10.0)])


@pytest.fixture
def with_stop(swung, brindlewater, inside):
    """A record with a stop of six hours in the middle of its period."""
    rows = np.arange(swung.height)
    stop = (rows >= 2 * 1440 + 300) & (rows < 2 * 1440 + 660)
    flows = [s.name for s in brindlewater.signals if s.quantity == "flow"]
    still = pl.Series(np.where(stop, 0.0, 1.0))
    return recorded(
        swung.with_columns(pl.col(name) * still for name in flows), brindlewater, inside
    )


def test_a_stop_made_shorter_loses_less_and_longer_more(with_stop, brindlewater):
    whole = run(with_stop, brindlewater)
    kept = sum(losses(whole.recorded, whole.inside).values())
    lost = {}
    for hours in (-6, -3, 3):
        found = run(with_stop, brindlewater, f"stop_h={hours:+d}")
        assert found.source.size == whole.source.size + 60 * hours
        now = found.inside[found.source]
        lost[hours] = sum(losses(found.replayed, now).values())
    assert lost[-6] < lost[-3] < kept < lost[3]
    # Three hours of the standing vessels at least, and what the juice soured more by meanwhile.
    stood = whole.recorded.station_minutes["stopped"].to_numpy() & whole.inside
    hourly = sum(losses(whole.recorded, stood).values()) / 6.0
    assert 3.0 * hourly < kept - lost[-3] < 4.5 * hourly


def test_a_stop_that_is_not_there_or_too_short_is_refused(record, with_stop, brindlewater):
    with pytest.raises(ValueError, match="no stop of 10 minutes"):
        run(record, brindlewater, "stop_h=-1")
    with pytest.raises(ValueError, match=r"lasted 6\.0 h"):
        run(with_stop, brindlewater, "stop_h=-7")


@pytest.fixture
def two_settlers(brindlewater):
    settler = next(v for v in brindlewater.vessels if v.kind == "settler")
    halves = [
        replace(settler, name=name, volume_m3=170.0, mud_volume_m3=70.0, mud_flow_m3_h=12.5)
        for name in ("east", "west")
    ]
    vessels = (*(v for v in brindlewater.vessels if v.kind != "settler"), *halves)
    signals = tuple(s for s in brindlewater.signals if s.place != "settler")
    return replace(brindlewater, vessels=vessels, signals=signals)


def test_a_settler_out_of_service_gives_its_juice_to_the_other(swung, two_settlers, inside):
    record = recorded(swung, two_settlers, inside)
    found = run(record, two_settlers, "west.in_service=out")
    late = slice(3 * 1440 - 120, 3 * 1440 - 60)
    was, now = (zone_columns(d, "flow_in_m3_h") for d in (found.recorded, found.replayed))
    np.testing.assert_allclose(now["east"][late], was["east"][late] + was["west"][late], rtol=1e-6)
    assert not np.any(now["west"][late])
    loss = [zone_columns(d, "loss_kg_h") for d in (found.recorded, found.replayed)]
    assert np.nansum(loss[1]["west"][late]) < 0.05 * np.nansum(loss[0]["west"][late])
    # Half the volume for the same juice: about half the loss of both.
    both = [sum(np.nansum(x[z][late]) for z in ("east", "west")) for x in loss]
    assert both[1] / both[0] == pytest.approx(0.5, abs=0.06)


def test_a_vessel_that_stands_alone_cannot_be_taken_out(record, brindlewater):
    with pytest.raises(ValueError, match="stands alone"):
        run(record, brindlewater, "settler.in_service=out")


def test_filtrate_that_is_not_returned_cannot_go_elsewhere(record, brindlewater):
    with pytest.raises(ValueError, match="no filtrate"):
        run(record, brindlewater, "filtrate_to=limed")


def test_filtrate_behind_the_primary_heater_leaves_it_alone(swung, brindlewater, inside):
    told = replace(brindlewater, filtrate=replace(brindlewater.filtrate, share_pct=12.0))
    found = run(recorded(swung, told, inside), told, "filtrate_to=limed")
    by = ratios(found)
    # The heater holds as much juice, none of it thinned by filtrate: by its Brix alone.
    assert by["primary_heater"] == pytest.approx(1.0, abs=0.03)
    assert by["primary_heater"] != 1.0
    assert by["settler"] == pytest.approx(1.0, abs=1e-3)


def test_probes_put_right_move_the_record_by_their_bias(swung, brindlewater, inside):
    bias = np.full(swung.height, 0.1)
    right, read = (
        recorded(swung, brindlewater, inside, b) for b in ({"limed": bias, "clear": bias}, {})
    )
    by = [losses(r.derived, inside) for r in (right, read)]
    assert by[0]["liming_tank"] / by[1]["liming_tank"] == pytest.approx(10**0.1, rel=1e-6)
    assert by[0]["first_evaporator"] > 1.2 * by[1]["first_evaporator"]


@pytest.mark.slow
def test_a_hot_probe_is_the_same_record(swung, brindlewater, inside):
    slope = brindlewater.kinetics.ph_slope
    name = "ph_settler_out"
    hot = tuple(replace(s, basis="process") if s.name == name else s for s in brindlewater.signals)
    shown = pl.col(name) + slope * (pl.col("temp_settler_inside_degc") - 25.0)
    grid = swung.with_columns(shown.alias(name))
    one = recorded(grid, replace(brindlewater, signals=hot), inside)
    other = recorded(swung, brindlewater, inside)
    for change in ("settler.temp_degc=-2", "ph_limed=+0.2"):
        a, b = (ratios(run(record, brindlewater, change)) for record in (one, other))
        for zone in a:
            assert a[zone] == pytest.approx(b[zone], rel=1e-9)


def test_mud_keeps_its_acid_and_not_its_distance(record, brindlewater):
    found = run(record, brindlewater, "ph_limed=+0.3")
    late = slice(3 * 1440 - 120, 3 * 1440)
    clear = [station_column(d, "ph_clear")[late].mean() for d in (found.recorded, found.replayed)]
    mud = [
        zone_columns(d, "ph_cold")["settler:mud"][late].mean()
        for d in (found.recorded, found.replayed)
    ]
    assert mud[1] - mud[0] < clear[1] - clear[0] - 0.02
    dose = (3.0 ** (clear[0] - mud[0]) - 1.0) / np.log(3.0) / 3.0 ** (clear[0] - 7.0)
    assert mud[1] == pytest.approx(ph_after_acid(clear[1], dose), abs=0.01)


@pytest.mark.slow
def test_what_no_tag_reads_can_be_changed_too(swung, brindlewater, inside):
    bare = replace(
        brindlewater,
        signals=tuple(
            s
            for s in brindlewater.signals
            if s.place not in ("settler", "clear_juice_tank") and s.quantity != "ph"
        ),
    )
    record = recorded(swung.select("ts_utc", *(s.name for s in bare.signals)), bare, inside)
    for said, zone in {
        "ph_limed=+0.2": "liming_tank",
        "settler.temp_degc=-2": "settler",
        "settler.mud_level_pct=-10": "settler:mud",
        "clear_juice_tank.level_pct=-10": "clear_juice_tank",
    }.items():
        assert ratios(run(record, bare, said))[zone] < 0.85


def test_younger_juice_has_cooled_less(record, brindlewater):
    found = run(record, brindlewater, "clear_juice_tank.level_pct=-15")
    late = slice(3 * 1440 - 300, 3 * 1440 - 120)
    was, now = (zone_columns(d, "temp_degc") for d in (found.recorded, found.replayed))
    stays = [zone_columns(d, "residence_min") for d in (found.recorded, found.replayed)]
    younger_h = (stays[0]["clear_juice_tank"] - stays[1]["clear_juice_tank"])[late].mean() / 60.0
    warmer = (now["clear_juice_tank"] - was["clear_juice_tank"])[late].mean()
    # Lagged vessels lose about a kelvin an hour (estimate).
    assert warmer == pytest.approx(1.0 * younger_h, rel=0.1)
    assert warmer > 0.05
    np.testing.assert_array_equal(now["settler"], was["settler"])
    held = run(
        record, brindlewater, "clear_juice_tank.level_pct=-15", "clear_juice_tank.temp_degc=-1"
    )
    fall = [
        zone_columns(d, "temp_degc")["clear_juice_tank"] for d in (held.replayed, held.recorded)
    ]
    assert (fall[0] - fall[1])[late].mean() == pytest.approx(-1.0)


def test_a_standing_mill_stays_standing_at_any_rate(with_stop, brindlewater):
    found = run(with_stop, brindlewater, "flow=280")
    flow = station_column(found.replayed, "flow_feed_m3_h")
    stood = station_column(found.recorded, "stopped") > 0.5
    assert stood.sum() >= 350
    assert not np.any(flow[stood])
    running = found.inside & ~stood
    np.testing.assert_allclose(flow[running], 280.0, rtol=1e-6)
