"""What the desk keeps in memory follows the store and the lake; its colours can be read."""

import re
from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from pipeline.cli import app
from pipeline.desk.kept import Kept
from pipeline.lake import GRID, LOSSES, STATION, Lake, lake_of
from pipeline.stages.glance import hours_path, keep_season, kept_hours, readings_path


def test_hours_and_readings_are_those_of_the_lake(mill):
    kept, lake = Kept(mill), lake_of(mill)
    known, readings = kept.now(), kept.readings()
    days = lake.feature_days(LOSSES)
    minutes = lake.read_features(LOSSES, days[0], days[-1])
    assert known.hours["excess_t"].sum() == pytest.approx(
        minutes["excess_kg_h"].sum() / 60_000.0, rel=1e-9
    )
    grid = lake.read_features(GRID, days[0], days[0])
    row = [s.name for s in readings.signals].index("ph_settler_out")
    at = (days[0] - readings.start.date()).days * 1440
    wanted = grid["ph_settler_out"].fill_null(float("nan")).to_numpy()
    np.testing.assert_allclose(readings.tiers.fine[row, at : at + 1440], wanted, rtol=1e-6)


def test_a_day_that_a_run_writes_anew_is_read_anew_once_it_is_published(mine, first):
    kept, lake = Kept(mine), lake_of(mine)
    before, was = kept.now(), kept.readings()
    was.tiers.load()
    day = first["started"].date()
    losses = lake.read_features(LOSSES, day, day)
    lake.write_features(LOSSES, day, losses.with_columns(pl.col("excess_kg_h") + 60.0))
    grid = lake.read_features(GRID, day, day)
    lake.write_features(GRID, day, grid.with_columns(pl.col("ph_settler_out") + 1.0))
    assert kept.now() is before  # nothing is published yet
    app.run(["verdict", str(mine.config_path), first["finding_id"], "confirmed", "--by", "Ana"])
    after = kept.now()
    added = (after.hours["excess_t"] - before.hours["excess_t"]).sum()
    assert added == pytest.approx(0.06 * losses.height / 60.0, rel=1e-6)
    row = [s.name for s in was.signals].index("ph_settler_out")
    change = kept.readings().tiers.fine[row] - was.tiers.fine[row]
    assert np.nansum(np.abs(change) > 0.5) == np.isfinite(grid["ph_settler_out"].to_numpy()).sum()


def same(one, other):
    assert one.now().hours.equals(other.now().hours)
    assert one.now().stops == other.now().stops
    for side in ("low", "high", "fine"):
        got, wanted = (getattr(k.readings().tiers, side) for k in (one, other))
        np.testing.assert_array_equal(got, wanted)


def test_the_first_view_reads_what_a_run_kept_and_shows_what_the_lake_holds(mine, monkeypatch):
    for path in (hours_path(mine), readings_path(mine)):
        path.unlink()
    plain = Kept(mine)
    plain.now()
    keep_season(mine)
    seen = []
    read = Lake.read_features
    monkeypatch.setattr(Lake, "read_features", lambda self, kind, *rest: (
        seen.append(kind), read(self, kind, *rest))[1])  # fmt: skip
    quick = Kept(mine)
    low, high = quick.readings().tiers.low, quick.readings().tiers.high
    quick.now()
    assert not {LOSSES, STATION, GRID} & set(seen)  # no minute of the season
    assert np.isfinite(low).any()
    assert (high >= low)[np.isfinite(low)].all()
    same(quick, plain)
    assert GRID in seen  # minutes are read where somebody looks closely


@pytest.mark.parametrize("spoil", ["old", "damaged", "of other signals"])
def test_what_a_run_kept_may_be_old_or_damaged(mine, first, spoil):
    keep_season(mine)
    lake, day = lake_of(mine), first["started"].date()
    if spoil == "old":
        losses = lake.read_features(LOSSES, day, day)
        lake.write_features(LOSSES, day, losses.with_columns(pl.col("excess_kg_h") + 60.0))
        grid = lake.read_features(GRID, day, day)
        lake.write_features(GRID, day, grid.with_columns(pl.col("ph_settler_out") + 1.0))
    elif spoil == "damaged":
        hours_path(mine).write_bytes(b"PAR1 not really")
        readings_path(mine).write_bytes(b"")
    else:
        pl.read_parquet(readings_path(mine)).rename({"low_0": "x"}).write_parquet(
            readings_path(mine)
        )
    found = Kept(mine)
    found.now()
    found.readings()
    for path in (hours_path(mine), readings_path(mine)):
        path.unlink()
    same(found, Kept(mine))
    keep_season(mine)  # puts right what lies there
    assert kept_hours(mine)[day].hours["excess_t"].sum() == pytest.approx(
        lake.read_features(LOSSES, day, day)["excess_kg_h"].sum() / 60_000.0, rel=1e-9
    )


def light(colour):
    """Relative luminance (W3C, WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_is_counted_as_the_standard_does():
    # W3C, WCAG 2.2: black on white is 21:1; #767676 on white is the greyest that passes 4.5:1
    # (memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert 4.5 < contrast("#767676", "#ffffff") < 4.6


@pytest.mark.parametrize("scheme", [0, 1])
def test_text_and_marks_can_be_read_in_light_and_dark(scheme):
    """Text 4.5:1 (WCAG 2.2, 1.4.3), marks of charts and controls 3:1 (1.4.11)."""
    style = files("pipeline.desk").joinpath("static", "desk.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", style.split(":root {")[1 + scheme]))
    for text in ("ink", "soft"):
        for behind in ("paper", "band"):
            assert contrast(colours[text], colours[behind]) >= 4.5, (text, behind)
    assert contrast(colours["ink"], colours["pick"]) >= 4.5
    for mark in ("fire", "blue", "read", "ok"):
        assert contrast(colours[mark], colours["paper"]) >= 3.0, mark
