import numpy as np
import polars as pl
import pytest

from features.replay import Change, parse_change, recorded, rerun, zone_rows
from models.replay import Ran, beyond_formulas, course_of, outside, ran_of


def test_hours_run_at_leave_stops_and_gaps_out():
    values = np.full(60 * 60, 7.4)
    values[:600] = 7.2
    values[600:1200] = 2.0
    values[1200:1800] = np.nan
    running = np.ones(values.size, bool)
    running[600:1200] = False
    ran = ran_of(values, running)
    assert (ran.low, ran.high, ran.hours) == (pytest.approx(7.2), pytest.approx(7.4), 40)
    assert ran_of(values[: 20 * 60], running[: 20 * 60]) is None


@pytest.mark.parametrize(
    ("change", "middle", "fits"),
    [
        (Change("ph_limed", "by", 0.2), 7.94, True),
        (Change("ph_limed", "by", 0.2), 7.97, False),
        (Change("temp_degc", "by", 1.0, "settler"), 6.4, False),
        (Change("flow", "factor", 5.0), 8.1, True),
    ],
)
def test_outside_what_was_run_is_said_with_what_was(change, middle, fits):
    ran = Ran(7.0, 7.9, 7.3, 7.6, 900)
    said = outside(change, np.array([middle, middle, np.nan]), ran)
    assert bool(said) != fits
    if said:
        assert "900 hours this mill ran at 7 to 7.9" in said


def test_what_was_not_measured_or_never_run_is_said():
    change = Change("imbibition", "factor", 5.0)
    assert "not measured" in outside(change, np.array([np.nan]), None)
    assert "less than a day" in outside(change, np.array([70.0]), None)


def test_courses_are_those_of_the_key(truly, station, inside):
    record = recorded(truly[0], station, inside)
    for said, middle in {
        "ph_limed=+0.1": 7.5, "flow=+1%": 265.0, "settler.temp_degc=-1": 97.5,
        "clear_juice_tank.level_pct=-1": 35.0, "settler.mud_level_pct=-1": 45.0,
        "imbibition=+1%": 75.0,
    }.items():  # fmt: skip
        course = course_of(record.derived, station, parse_change(said, station))
        assert np.nanmedian(course) == pytest.approx(middle, rel=0.02)
    assert course_of(record.derived, station, Change("stop_h", "by", 1.0)) is None
    with pytest.raises(ValueError, match="no mud zone"):
        course_of(record.derived, station, Change("mud_level_pct", "by", 1.0, "liming_tank"))


def test_formulas_that_do_not_cover_a_replay_are_named(truly, station, inside):
    record = recorded(truly[0], station, inside)

    def said(text):
        run = rerun(record, [parse_change(text, station)])
        return beyond_formulas(zone_rows(run.recorded, inside), zone_rows(run.replayed, inside))

    assert said("first_evaporator.temp_degc=+2") == ""
    assert "temperature in first_evaporator would lie outside" in said(
        "first_evaporator.temp_degc=+25"
    )


def test_hours_in_which_nothing_is_lost_refuse_nothing(truly, station, inside):
    # A standing evaporator at 80 degC, two kelvin colder: below what destruction is known for.
    record = recorded(truly[0], station, inside)
    rows = zone_rows(record.derived, inside)
    stood = (pl.col("zone") == "first_evaporator") & (pl.int_range(pl.len()).over("zone") < 200)

    def at(degc, lost):
        changed = {"temp_degc": degc} | dict.fromkeys(("loss_kg_h", "rs_destroyed_kg_h"), lost)
        return rows.with_columns(
            pl.when(stood).then(pl.lit(value)).otherwise(name).alias(name)
            for name, value in changed.items()
        )

    assert beyond_formulas(at(80.5, 0.01), at(78.5, 0.01)) == ""
    assert "first_evaporator" in beyond_formulas(at(80.5, 90.0), at(78.5, 90.0))
