"""A thin description says what it cannot see; a whole one says nothing."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pipeline.config import load_mill
from pipeline.unseen import what_cannot_be_seen

ROOT = Path(__file__).resolve().parents[2]
LAB = pl.DataFrame({"analyte": ["ph", "rs", "lactic"]})
WHOLE = pl.DataFrame({"measured": [True] * 100})


@pytest.fixture(scope="module")
def station():
    return load_mill(ROOT / "configs" / "demo_mill.toml").station


def said(station, lab=LAB, losses=WHOLE):
    return " ".join(f"{g.what}: {g.why}" for g in what_cannot_be_seen(station, lab, losses))


def test_a_well_measured_station_has_nothing_to_confess(station):
    assert said(station) == ""


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("LT.AI212", "pH of limed juice"),
        ("ST.AI308", "pH of clear juice"),
        ("ST.LI305", "how much mud is held"),
        ("CT.LI401", "how full the clear-juice tank is"),
        ("EV.TI501", "temperature of the first evaporator vessel"),
    ],
)
def test_a_missing_tag_is_told(station, tag, words):
    kept = tuple(s for s in station.signals if s.tag != tag)
    assert words in said(replace(station, signals=kept))


@pytest.mark.parametrize(
    ("analyte", "words"),
    [("ph", "probe that drifts"), ("rs", "its interval is wide"), ("lactic", "Loss to microbes")],
)
def test_a_missing_analysis_is_told(station, analyte, words):
    assert words in said(station, LAB.filter(pl.col("analyte") != analyte))


def test_minutes_without_readings_are_told(station):
    losses = pl.DataFrame({"measured": [True] * 90 + [False] * 10})
    assert "10.0% of the minutes" in said(station, losses=losses)
