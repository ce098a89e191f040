"""Counts of a day are counts of that day, and each symptom is told in words."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base.station import Signal
from features.signal.health import Drift, judge_sensor, sensor_day

DAY = datetime(2025, 10, 7, tzinfo=UTC)
END = DAY + timedelta(days=1)
PH = Signal("PH-1", "ph", "liming_tank", "out", "pH", 3.5, 12.0, every_s=60)


def readings(reasons=None, value=7.5, keep=lambda minute: True, tag="PH-1"):
    """One reading a minute from an hour before the day to an hour after it."""
    reasons = reasons or {}
    rows = [
        (DAY + timedelta(minutes=m), tag, value(m) if callable(value) else value, reasons.get(m))
        for m in range(-60, 1500)
        if keep(m)
    ]
    frame = pl.DataFrame(
        rows,
        schema={"ts_utc": pl.Datetime("us", "UTC"), "tag": pl.String}
        | {"value": pl.Float64, "reason": pl.String},
        orient="row",
    )
    return frame.with_columns(bad=pl.col("reason").is_not_null())


def day(frame):
    counts = sensor_day(frame, [PH], DAY, END)
    assert counts.height == 1
    return counts.row(0, named=True)


def test_a_sound_day():
    row = day(readings())
    assert (row["readings"], row["good"], row["other_bad"]) == (1440, 1440, 0)
    assert (row["gap_min"], row["longest_gap_min"], row["frozen_min"]) == (0.0, 0.0, 0.0)
    assert row["calibration_step"] is None
    assert judge_sensor(row) == ("good", "")


def test_readings_add_up_by_reason():
    reasons = {10: "spike", 11: "out_of_range", 12: "out_of_range", 13: "bad_quality"}
    reasons |= dict.fromkeys(range(100, 400), "frozen") | {-5: "spike", 1450: "spike"}
    row = day(readings(reasons))
    assert (row["spikes"], row["out_of_range"], row["frozen"]) == (1, 2, 300)
    parts = ("good", "spikes", "out_of_range", "frozen", "calibration", "other_bad")
    assert sum(row[name] for name in parts) == row["readings"] == 1440
    assert row["frozen_min"] == pytest.approx(300.0)
    verdict, text = judge_sensor(row)
    assert verdict == "sick"
    assert text.startswith("frozen for 5.0 h")


def test_silence_is_counted_within_the_day_only():
    # The last reading before each silence speaks for ten minutes more.
    row = day(readings(keep=lambda m: not -30 <= m < 120 and not 600 <= m < 640 and m < 1400))
    assert row["gap_min"] == pytest.approx(120 + 31 + 31)
    assert row["longest_gap_min"] == pytest.approx(120)
    assert judge_sensor(row) == ("watch", "silent for 3.0 h")


def test_the_last_reading_before_the_day_speaks_in_it():
    speaks_min = PH.longest_gap_min
    row = day(readings(keep=lambda minute: not 0 <= minute < 200))
    # The reading of one minute to midnight holds on for as long as the tag allows.
    assert row["gap_min"] == pytest.approx(200.0 - (speaks_min - 1.0))
    frozen = day(readings({-1: "frozen"}, keep=lambda minute: not 0 <= minute < 200))
    assert frozen["frozen_min"] == pytest.approx(speaks_min - 1.0)
    assert frozen["frozen"] == 0  # it is a reading of the day before


def test_a_tag_without_readings_is_silent():
    row = day(readings(tag="another"))
    assert (row["readings"], row["gap_min"]) == (0, 1440.0)
    assert judge_sensor(row) == ("silent", "no readings")


@pytest.mark.parametrize(("end", "seen"), [(730, True), (-10, False), (1450, False)])
def test_a_calibration_step_belongs_to_the_day_it_ends_in(end, seen):
    first, last = end - 17, end
    reasons = dict.fromkeys(range(first, last + 1), "calibration")
    row = day(readings(reasons, value=lambda m: 7.5 if m <= last else 7.3))
    if not seen:
        assert row["calibration_step"] is None
    else:
        assert row["calibration_step"] == pytest.approx(-0.2)
        assert judge_sensor(row) == ("watch", "stepped by -0.20 over a calibration")


@pytest.mark.parametrize(
    ("drift", "verdict"),
    [
        (Drift(0.05, 0.01), "good"),
        (Drift(0.15, 0.03), "watch"),
        (Drift(-0.3, 0.05), "sick"),
        (Drift(0.3, 0.2), "good"),
    ],
)
def test_drift_counts_by_size_and_only_when_sure(drift, verdict):
    found, text = judge_sensor(day(readings()), drift)
    assert found == verdict
    assert (("low" if drift.value < 0 else "high") in text) == (verdict != "good")


def test_what_the_search_found_comes_first():
    row = day(readings(dict.fromkeys(range(0, 50), "spike")))
    verdict, text = judge_sensor(row, fault="temperature up by 8.0 K, but nothing followed.")
    assert verdict == "sick"
    assert text.index("nothing followed") < text.index("50 spikes")


def test_many_spikes_are_worth_a_look():
    row = day(readings(dict.fromkeys(np.arange(0, 1200, 100).tolist(), "spike")))
    assert judge_sensor(row) == ("watch", "12 spikes")
