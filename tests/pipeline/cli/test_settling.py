"""The command settling: numbers by hand, words, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.cli import app

DEMO = Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml"


def _answer(capsys, *typed, mill=DEMO):
    assert app.run(["settling", str(mill), *typed, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_flow_is_weighed_against_the_area_by_hand(capsys):
    found = _answer(capsys, "--flow", "237.5", "--rate", "10")
    # 237.5 m3/h over 95 m2 are 2.5 m/h; half of 10 m/h is 5: half used, as much again to spare.
    assert (found["load_m_h"], found["used_low"]) == (pytest.approx(2.5), pytest.approx(0.5))
    assert found["spare_m3_h_high"] == pytest.approx(237.5)
    assert found["one_out_used_low"] is None


def test_water_acts_as_the_trade_has_it_and_adds_to_the_flow(capsys):
    found = _answer(capsys, "--flow", "200", "--dilution", "10", "--rate", "10")
    assert found["flow_m3_h"] == pytest.approx(220.0)
    # 78 against 38 min at 10 % (common practice).
    assert found["settles_times_as_fast"] == pytest.approx(78.0 / 38.0, rel=0.01)
    dry = _answer(capsys, "--flow", "200", "--rate", "10")
    assert found["used_high"] == pytest.approx(dry["used_high"] * 1.1 * 38.0 / 78.0, rel=0.01)


def test_a_vessel_out_of_service_is_told_where_there_are_two(capsys, tmp_path):
    text = DEMO.read_text("utf-8")
    first = text.index('[[train]]\nname = "settler"')
    end = text.index("[[train]]", first + 5)
    twin = text[first:end].replace('name = "settler"', 'name = "settler_two"')
    twin = twin.replace("[[train]]", "[[train]]\nstep = 5")
    both = text[:first] + text[first:end].replace("[[train]]", "[[train]]\nstep = 5") + twin
    path = tmp_path / "two.toml"
    path.write_text(both + text[end:], encoding="utf-8")
    found = _answer(capsys, "--flow", "237.5", "--rate", "10", mill=path)
    assert found["used_low"] == pytest.approx(0.25)
    assert found["one_out_used_low"] == pytest.approx(0.5)


def test_a_person_reads_the_use_first_and_the_cautions_last(capsys):
    assert app.run(["settling", str(DEMO), "--dilution", "25"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert text.index("of the settler's design rule is used") < 40
    for words in ("no settling time is known", "confined spaces", "licensed people", "not depth"):
        assert words in text


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        (["--flow", "-1"], "--flow -1 m3/h"),
        (["--brix", "60"], "--brix 60 %"),
        (["--temp", "nan"], "--temp nan degC"),
        (["--dilution", "50"], "--dilution 50 %"),
    ],
)
def test_what_cannot_be_answered_is_named(typed, named, capsys):
    assert app.run(["settling", str(DEMO), *typed]) == 2
    out = capsys.readouterr()
    assert named in " ".join((out.out + out.err).split())


def test_a_settler_without_an_area_is_asked_for_it(capsys, tmp_path):
    path = tmp_path / "mill.toml"
    lines = DEMO.read_text("utf-8").splitlines()
    path.write_text("\n".join(x for x in lines if not x.startswith("area_m2")), encoding="utf-8")
    assert app.run(["settling", str(path)]) == 2
    out = capsys.readouterr()
    assert "area_m2" in out.out + out.err
