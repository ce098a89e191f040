import numpy as np
import pytest

from features.replay import Change, parse_change


@pytest.mark.parametrize(
    ("said", "change"),
    [
        ("ph_limed=+0.2", Change("ph_limed", "by", 0.2)),
        ("ph_limed=7.4", Change("ph_limed", "to", 7.4)),
        ("ph_limed_target=-0.1", Change("ph_limed_target", "by", -0.1)),
        (" settler.temp_degc = -2 ", Change("temp_degc", "by", -2.0, "settler")),
        ("clear_juice_tank.level_pct=20", Change("level_pct", "to", 20.0, "clear_juice_tank")),
        ("settler.mud_level_pct=+5", Change("mud_level_pct", "by", 5.0, "settler")),
        ("settler.in_service=out", Change("in_service", "to", 0.0, "settler")),
        ("flow=+10%", Change("flow", "factor", 10.0)),
        ("flow=250", Change("flow", "to", 250.0)),
        ("imbibition=-5%", Change("imbibition", "factor", -5.0)),
        ("stop_h=-2", Change("stop_h", "by", -2.0)),
        ("filtrate_to=limed", Change("filtrate_to", "to", 1.0)),
    ],
)
def test_a_value_with_a_sign_is_relative_and_one_without_absolute(brindlewater, said, change):
    assert parse_change(said, brindlewater) == change


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("ph_limed", "KEY=VALUE"),
        ("ph_limed=", "KEY=VALUE"),
        ("ph=+1", "there is no key"),
        ("setler.temp_degc=-2", "there is no vessel 'setler'"),
        ("settler.ph_limed=7", "there is no key"),
        ("ph_limed=high", "say a number"),
        ("ph_limed=+0.2;7", "say a number"),
        ("ph_limed=nan", "say a number"),
        ("ph_limed=1e9", "say a number"),
        ("ph_limed=+10%", "takes no share"),
        ("settler.level_pct=-10%", "takes no share"),
        ("flow=10%", "needs a sign"),
        ("settler.in_service=maybe", "say in or out"),
        ("filtrate_to=river", "mixed or limed"),
    ],
)
def test_what_cannot_be_read_is_said_in_words(brindlewater, said, words):
    with pytest.raises(ValueError, match=words):
        parse_change(said, brindlewater)


def test_a_change_acts_as_it_says_and_leaves_gaps_alone():
    values = np.array([1.0, 3.0, np.nan])
    for how, expected in {
        "by": [3.0, 5.0], "factor": [1.02, 3.06], "to": [2.0, 2.0], "at_most": [1.0, 2.0],
        "at_least": [2.0, 3.0],
    }.items():  # fmt: skip
        got = Change("flow", how, 2.0).on(values)
        np.testing.assert_allclose(got[:2], expected)
        assert np.isnan(got[2])
