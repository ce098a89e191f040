"""Words beside common practice, and of formulas carried on beyond their range."""

from __future__ import annotations

from dataclasses import replace

import polars as pl
import pytest

from features.base import polars_schema
from features.kinetics import BEYOND_COLUMNS
from models.account import Band, Plausibility
from pipeline.report.beyond import beyond_line, beyond_rows
from pipeline.report.pages import page_of
from pipeline.report.plausible import plausible_lines, plausible_short
from pipeline.report.season import compose

ORDINARY = Plausibility(
    *(0.24, 0.15, 0.38), 7.5, 6.95, 1.1, 7.1, 97.0, Band(0.41, 3.2, 8, 7, 0.3, 0.2)
)


def _inverted(value, low, high):
    return {"inverted_pct": value, "inverted_low_pct": low, "inverted_high_pct": high}


def test_an_ordinary_day_is_told_without_alarm():
    lines = plausible_lines(ORDINARY)
    assert len(lines) == 4
    # Common practice: 0.2-0.3 %, bad 1 %; half a unit; 1 and 3 %/h at pH 7 and 8.
    assert "0.2 to 0.3 % is usual, 1 % a bad case" in lines[0]
    assert "0.55 (from 7.50 to 6.95); about 0.5 is usual." in lines[1]
    assert "1.1 % an hour at pH 7.10 and 97.0 °C; 1 % near pH 7 and 3 % at pH 8" in lines[2]
    assert "up to 0.41 % of the pol fed either way (3.2 t)" in lines[3]
    assert not any(word in " ".join(lines) for word in ("clearly", "than usual", "few"))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (_inverted(0.9, 0.5, 1.6), "More is inverted than usual"),
        (_inverted(0.1, 0.05, 0.15), "reads high"),
        ({"ph_clear": 6.6}, "clearly more than usual: compare both probes"),
        ({"ph_clear": 7.4}, "clearly less"),
        ({"band": replace(ORDINARY.band, before=2)}, "which is few"),
        ({"band": replace(ORDINARY.band, sampling_pct=0.0)}, "by pol and refractometer with"),
    ],
)
def test_what_is_out_of_the_ordinary_is_said(changed, words):
    assert words in " ".join(plausible_lines(replace(ORDINARY, **changed)))


def test_what_is_not_known_is_named():
    lines = plausible_lines(Plausibility())
    assert all("not known" in line for line in lines)
    assert plausible_lines(None) == []
    assert plausible_short(None) == plausible_short(Plausibility()) == ""


def test_the_sheet_of_a_night_has_it_in_one_sentence():
    assert plausible_short(ORDINARY) == (
        "Inversion across clarification 0.24 % of the sucrose fed (0.15 to 0.38, 90 % interval), "
        "usual 0.2 to 0.3, bad 1; pH falls by 0.55 in the settler (7.50 to 6.95), usual about 0.5; "
        "reducing sugars go at 1.1 %/h there (pH 7.10), usual 1 %/h near pH 7 and 3 %/h at pH 8; "
        "errors of "
        "sampling, pol and refractometer alone can make 0.41 % (3.2 t) of undetermined loss."
    )
    odd = replace(ORDINARY, ph_clear=6.6)
    assert plausible_short(odd).endswith("clearly more than usual: compare both probes with grabs.")


def _beyond(*rows):
    return pl.DataFrame(rows, schema=polars_schema(BEYOND_COLUMNS), orient="row")


HEATER = (
    *("primary_heater", "inversion of sucrose", "temperature", "degC", 60.0, 130.0),
    *(52.4, 59.9, 2278, 80336, 40.0, 60.0, 1000.0),
)
TANK = (
    *("liming_tank", "destruction of reducing sugars", "temperature", "degC", 80.0, 140.0),
    *(69.5, 74.1, 1440, 1440, 5.0, 5.0, 500.0),
)


def test_rows_and_line_say_how_much_of_a_loss_is_a_rougher_guess(view):
    held = replace(view, beyond=_beyond(TANK, HEATER))
    first, second = beyond_rows(held)
    assert (first.met, first.stated) == ("52.4 to 59.9 °C", "60 to 130 °C")
    assert first.minutes == "2,278 of 80,336 min"
    # 40 of 1,000 kg and 5 of 500 kg.
    assert first.share == "4 % of the station's loss"
    assert second.share == "1 % of the reducing sugars destroyed"
    assert "primary heater 4 % (52.4 to 59.9 °C)" in beyond_line(held)
    page = page_of("report", compose(held, 1) | {"style": ""})
    assert "2,278 of 80,336\u00a0min" in page


def test_little_is_said_in_few_words_and_nothing_where_nothing_was_counted(view):
    little = replace(view, beyond=_beyond((*HEATER[:10], 0.2, 60.0, 1000.0)))
    assert beyond_line(little) == ""
    assert beyond_line(replace(view, beyond=_beyond())) == ""
    assert beyond_line(replace(view, beyond=None)) == ""
    assert beyond_rows(replace(view, beyond=None)) == []
