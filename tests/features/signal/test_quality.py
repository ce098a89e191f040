"""Screening: faults laid into ordinary courses are found, and what is real is left alone."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base.readings import by_tag
from features.base.station import LabSource, Signal
from features.signal.counts import quality_counts
from features.signal.quality import screen, screen_by_tag

START = datetime(2025, 10, 6, tzinfo=UTC)
SCHEMA = {
    "ts_utc": pl.Datetime("us", "UTC"),
    "tag": pl.String,
    "value": pl.Float64,
    "bad": pl.Boolean,
    "reason": pl.String,
}


def sig(tag, quantity="temperature", low=0.0, high=150.0, every_s=30.0):
    return Signal(tag, quantity, tag.lower(), "", "", low, high, every_s=every_s)


def readings(tag, at_s, value):
    return pl.DataFrame(
        {
            "ts_utc": [START + timedelta(seconds=float(s)) for s in at_s],
            "tag": tag,
            "value": np.asarray(value, dtype=float),
            "bad": False,
            "reason": None,
        },
        schema=SCHEMA,
    )


def wandering(seed, mean, fast, slow, hours=24, every_s=30, decimals=2, lasting_s=1800):
    """An ordinary course: slow unrest of half an hour plus instrument noise."""
    rng = np.random.default_rng(seed)
    count = int(hours * 3600 / every_s)
    keep = np.exp(-every_s / lasting_s)
    drive = rng.normal(0, slow * np.sqrt(1 - keep**2), count)
    course = np.empty(count)
    state = 0.0
    for k in range(count):
        state = keep * state + drive[k]
        course[k] = state
    at_s = np.arange(count) * every_s
    return at_s, np.round(mean + course + rng.normal(0, fast, count), decimals)


def deadbanded(at_s, value, band, heartbeat_s=600):
    """Readings a compressing historian would keep."""
    kept, last, since = [], np.inf, -np.inf
    for k, v in enumerate(value):
        if abs(v - last) > band or at_s[k] - since >= heartbeat_s:
            kept.append(k)
            last, since = v, at_s[k]
    return at_s[kept], value[kept]


def screened(tag, at_s, value, *others, **kind):
    frame = pl.concat([readings(tag, at_s, value), *(readings(*o) for o in others)])
    signals = [sig(tag, **kind), *(sig(o[0]) for o in others)]
    out = screen(frame, signals)
    assert out.height == frame.height
    assert out.schema == pl.Schema(SCHEMA)
    assert out["bad"].equals(out["reason"].is_not_null().alias("bad"))
    return out.filter(pl.col("tag") == tag)


def marked(frame, reason):
    return set(np.flatnonzero((frame["reason"] == reason).fill_null(value=False)).tolist())


def test_range_and_numbers_that_are_none():
    at_s, value = wandering(1, 97.5, 0.1, 0.5)
    value[[5, 6, 7, 8]] = [-3.0, 180.0, np.nan, np.inf]
    out = screened("T", at_s, value)
    assert marked(out, "out_of_range") == {5, 6}
    assert marked(out, "not_a_number") == {7, 8}
    assert out["value"][5] == -3.0  # kept, only marked
    assert out["value"][7] is None
    assert out["bad"].sum() == 4


def test_the_ends_of_the_range_are_inside():
    out = screened("T", *wandering(1, 97.5, 0.1, 0.5), low=0.0, high=97.5)
    assert not out.filter(pl.col("value") == 97.5)["bad"].any()


def test_readings_bad_before_keep_their_reason_and_other_tags_are_untouched():
    frame = readings("T", [0, 30], [-3.0, -4.0]).with_columns(
        bad=pl.Series([True, False]), reason=pl.Series(["bad_quality", None])
    )
    alien = readings("X", [0], [1e9])
    out = screen(pl.concat([frame, alien]), [sig("T")])
    assert out["reason"].to_list() == ["bad_quality", "out_of_range", None]


def test_lab_results_are_screened_by_range_alone():
    series = LabSource("LAB", "rs", "settler", "out", "%", 0.0, 5.0)
    frame = readings("LAB", range(0, 90_000, 7200), [0.6] * 6 + [9.0] + [0.6] * 6)
    out = screen(frame, [sig("T")], [series])
    assert marked(out, "out_of_range") == {6}
    assert out["bad"].sum() == 1
    assert screen(frame, [sig("T")]).equals(frame)


def test_an_empty_frame_stays_empty():
    assert screen(pl.DataFrame(schema=SCHEMA), [sig("T")]).is_empty()


@pytest.mark.parametrize("band", [0.0, 0.4])
def test_lone_spikes_are_found_with_and_without_a_deadband(band):
    at_s, value = wandering(2, 102.0, 0.15, 0.6, every_s=10)
    truth = [1000, 2500, 2501, 4000, 7000]
    value[truth] += [20.0, -15.0, -18.0, 9.0, -40.0]
    at_kept, kept = deadbanded(at_s, value, band)
    out = screened("T", at_kept, kept, every_s=10.0)
    found = {int(at_kept[k] // 10) for k in marked(out, "spike")}
    assert found == set(truth)


def test_a_lone_buffer_reading_of_a_probe_written_by_exception_is_a_spike():
    # Described as 10 s, written every half minute or more: the next reading comes late.
    at_s, value = wandering(5, 6.94, 0.01, 0.02, every_s=30, decimals=3)
    at_s, value = deadbanded(at_s, value, 0.02)
    value[200] = 4.15
    assert 25.0 < at_s[201] - at_s[200] <= 60.0
    assert marked(screened("T", at_s, value, every_s=10.0), "spike") == {200}


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("mean", "fast", "slow", "every_s", "band", "decimals"),
    [
        (102.0, 0.15, 0.8, 10, 0.3, 2),  # noisy heater, compressed
        (97.5, 0.02, 0.3, 30, 0.0, 1),  # quantised to a tenth: most readings repeat
        (60.0, 0.0, 4.0, 60, 2.0, 0),  # a level in whole per cent with a wide deadband
        (260.0, 4.0, 15.0, 10, 0.0, 0),  # restless flow
    ],
)
def test_ordinary_courses_are_left_alone(seed, mean, fast, slow, every_s, band, decimals):
    at_s, value = wandering(seed, mean, fast, slow, 48, every_s, decimals)
    at_s, value = deadbanded(at_s, value, band) if band else (at_s, value)
    out = screened("T", at_s, value, high=400.0, every_s=float(every_s))
    assert out["bad"].sum() == 0


def test_real_excursions_of_temperature_and_level_are_left_alone():
    # Steam fails for 20 minutes: the heater falls 30 degC along its time constant of 3 minutes.
    at_s, value = wandering(3, 102.0, 0.15, 0.6)
    since = np.clip(at_s - 36_000, 0, None)
    fall = 30 * (1 - np.exp(-np.minimum(since, 1200) / 180))
    value = value - fall * np.exp(-np.clip(since - 1200, 0, None) / 180)
    at_kept, kept = deadbanded(at_s, np.round(value, 2), 0.35)
    assert screened("T", at_kept, kept)["bad"].sum() == 0
    # A tank is emptied in ten minutes and stays low.
    at_s, value = wandering(4, 70.0, 0.25, 1.0)
    value = value - np.clip((at_s - 36_000) / 600, 0, 1) * 50
    out = screened("L", *deadbanded(at_s, value, 0.5), quantity="level", high=105.0)
    assert out["bad"].sum() == 0


def limed_ph(seed=5, hours=24):
    return wandering(seed, 7.5, 0.012, 0.08, hours, 10, 3)


@pytest.mark.parametrize("band", [0.0, 0.03])
def test_a_probe_in_buffer_is_called_calibration(band):
    at_s, value = limed_ph()
    start = 4000
    for third, buffer in enumerate((7.0, 9.18, 4.01)):
        value[start + 40 * third : start + 40 * (third + 1)] = buffer
    at_kept, kept = deadbanded(at_s, value, band, 300) if band else (at_s, value)
    out = screened("P", at_kept, kept, quantity="ph", high=14.0, every_s=10.0)
    found = {int(at_kept[k] // 10) for k in marked(out, "calibration")}
    truth = {int(t // 10) for t in at_kept if start <= t // 10 < start + 120}
    assert truth <= found
    assert len(found - truth) <= 2
    assert out["bad"].sum() == len(found)


def test_lime_that_fails_for_half_an_hour_is_no_calibration():
    # pH falls to 5.5 along a residence time of 14 minutes and climbs back: real, and a loss.
    at_s, value = limed_ph()
    since = np.clip(at_s - 40_000, 0, None)
    fall = 2.5 * (1 - np.exp(-np.minimum(since, 1800) / 840))
    value = np.round(value - fall * np.exp(-np.clip(since - 1800, 0, None) / 840), 3)
    out = screened("P", at_s, value, quantity="ph", high=14.0, every_s=10.0)
    assert out["bad"].sum() == 0


def test_a_lasting_step_of_ph_is_no_calibration():
    at_s, value = limed_ph()
    value[at_s > 40_000] -= 1.5
    out = screened("P", at_s, value, quantity="ph", high=14.0, every_s=10.0)
    assert marked(out, "calibration") == set()


def witnesses(count=3, hours=24):
    return [(f"W{k}", *wandering(20 + k, 80.0, 0.1, 1.0, hours)) for k in range(count)]


@pytest.mark.parametrize("band", [0.0, 0.3])
def test_a_frozen_transmitter_is_found_while_the_plant_moves(band):
    at_s, value = wandering(6, 97.5, 0.1, 0.8)
    still = (at_s >= 30_000) & (at_s < 30_000 + 5 * 3600)
    value[still] = value[still][0]
    at_kept, kept = deadbanded(at_s, value, band, 300) if band else (at_s, value)
    out = screened("T", at_kept, kept, *witnesses())
    found = at_kept[sorted(marked(out, "frozen"))]
    assert found.min() <= 30_000 + 600
    assert found.max() >= 30_000 + 5 * 3600 - 600
    assert ((found > 29_999) & (found < 30_000 + 5 * 3600 + 1)).all()


def test_a_still_tag_in_a_still_plant_is_not_called_frozen():
    stop = slice(1000, 1700)
    others = witnesses()
    for _, _, values in others:
        values[stop] = values[stop.start]
    at_s, value = wandering(7, 97.5, 0.1, 0.8)
    value[stop] = value[stop.start]
    assert marked(screened("T", at_s, value, *others), "frozen") == set()


def test_tags_that_are_still_by_habit_are_not_called_frozen():
    # Steps of one degree once in three hours, read every 30 s.
    at_s = np.arange(0, 4 * 86_400, 30)
    value = 30.0 + (at_s // 10_800) % 3
    assert screened("T", at_s, value, *witnesses(hours=96))["bad"].sum() == 0


@pytest.mark.parametrize("seed", range(4))
def test_a_tag_in_coarse_steps_may_rest_for_hours(seed):
    # As on a real plant: a slow course in whole millivolts that rests for hours on one step.
    at_s, value = wandering(seed, 751.0, 0.1, 1.5, 240, 60, 0, lasting_s=6 * 3600)
    longest_s = 60 * max(map(len, np.split(value, np.flatnonzero(np.diff(value)) + 1)))
    assert longest_s > 5400  # long enough to be looked at
    out = screened("T", at_s, value, *witnesses(hours=240), high=1500.0, every_s=60.0)
    assert out["bad"].sum() == 0


def test_a_frozen_tag_of_coarse_steps_is_found_by_the_jump_at_its_end():
    at_s, value = wandering(1, 751.0, 0.4, 3.0, 240, 60, 0)
    still = (at_s >= 201_600) & (at_s < 201_600 + 12 * 3600)
    value[still] = 751.0
    value[at_s == 201_600 + 12 * 3600] = 755.0
    out = screened("T", at_s, value, *witnesses(hours=240), high=1500.0, every_s=60.0)
    assert len(marked(out, "frozen")) >= 12 * 60 - 1


def test_a_lone_reading_that_held_for_long_is_no_spike():
    # Written by exception: the probe stood there for ten minutes, and then came back.
    at_s, value = wandering(5, 6.94, 0.01, 0.02, every_s=30, decimals=3)
    value[200] = 4.15
    at_s = np.where(np.arange(at_s.size) > 200, at_s + 570.0, at_s)
    assert marked(screened("T", at_s, value), "spike") == set()


def test_what_is_far_off_in_calm_is_ordinary_in_unrest():
    rng = np.random.default_rng(4)
    at_s = np.arange(2880) * 30.0
    value = 100.0 + rng.normal(0.0, 0.1, at_s.size)
    rough = slice(1000, 1200)
    # The tag's habit is calm, so that only the neighbourhood speaks for these swings of 1 degC.
    value[rough] += np.where(np.arange(200) % 40 == 7, 4.0, np.sin(np.arange(200) * 1.9))
    value[2000] += 4.0
    assert marked(screened("T", at_s, value), "spike") == {2000}


def test_a_storm_of_jumps_is_unrest_and_not_spikes():
    at_s, value = wandering(2, 102.0, 0.15, 0.6)
    value[1000:1040:2] += 12.0
    value[2000] += 12.0
    assert marked(screened("T", at_s, value), "spike") == {2000}


def test_idle_flows_and_full_tanks_are_not_called_frozen():
    at_s, value = wandering(8, 260.0, 2.0, 8.0)
    value[1000:1800] = 0.0
    out = screened("F", at_s, value, *witnesses(), quantity="flow", high=400.0)
    assert out["bad"].sum() == 0
    at_s, value = wandering(9, 95.0, 0.3, 2.0)
    value[1000:1800] = 100.0
    value = np.minimum(value, 100.0)
    out = screened("L", at_s, value, *witnesses(), quantity="level", high=105.0)
    assert out["bad"].sum() == 0


def test_screening_twice_changes_nothing_and_the_order_of_rows_has_no_part():
    at_s, value = wandering(2, 102.0, 0.15, 0.6)
    value[[500, 900]] += 30.0
    frame = readings("T", at_s, value)
    once = screen(frame, [sig("T")])
    assert marked(once, "spike") == {500, 900}
    assert screen(once, [sig("T")]).equals(once)
    assert screen(frame.sample(fraction=1.0, shuffle=True, seed=1), [sig("T")]).equals(once)


def test_counts_add_up_for_each_tag_and_day():
    at_s, value = wandering(1, 97.5, 0.1, 0.5, hours=30)
    value[[5, 6]] = -3.0
    counts = quality_counts(screen(readings("T", at_s, value), [sig("T")]))
    assert counts.rows() == [
        (date(2025, 10, 6), "T", "good", 2878),
        (date(2025, 10, 6), "T", "out_of_range", 2),
        (date(2025, 10, 7), "T", "good", 720),
    ]


def test_tag_by_tag_and_on_several_threads_it_says_the_same():
    frozen = wandering(5, 97.0, 0.1, 1.0)
    frozen[1][600:1400] = frozen[1][600]
    tags = {"T-0": frozen, **{f"T-{n}": wandering(n, 97.0, 0.1, 1.0) for n in (1, 2, 3)}}
    frame = pl.concat([readings(tag, *series) for tag, series in tags.items()])
    signals = [sig(tag) for tag in tags]
    whole = screen(frame, signals)
    assert marked(whole, "frozen")
    with ThreadPoolExecutor(2) as pool:
        parts = screen_by_tag(by_tag(frame), signals, (), pool.map)
    assert pl.concat(parts.values()).equals(whole)
    assert quality_counts(parts).equals(quality_counts(whole))
