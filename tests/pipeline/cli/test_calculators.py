"""The commands standing and setpoint: JSON keys, words, errors, kinetics with and without store."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.cli import app
from pipeline.mill.description import load_mill
from pipeline.store.folders import store_of

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
ASKED = {"--ph": "6.9", "--ph-at": "cold", "--temp": "97", "--brix": "15", "--hours": "8"}


def words(**changed):
    """Words of the standing command, with some options changed or (None) left out."""
    asked = ASKED | {"--" + name.replace("_", "-"): value for name, value in changed.items()}
    return ["standing", *(word for k, v in asked.items() if v is not None for word in (k, v))]


def told(capsys, typed):
    """Output of a command that must succeed, with its line ends taken out."""
    assert app.run(typed) == 0
    return capsys.readouterr().out


def answered(capsys, typed):
    return json.loads(told(capsys, [*typed, "--json"]))


@pytest.fixture
def mill(tmp_path):
    """The demonstration mill with a store of its own, empty."""
    text = (CONFIGS / "demo_mill.toml").read_text(encoding="utf-8")
    path = tmp_path / "mill.toml"
    path.write_text(text.replace("../lostpol_store/brindlewater", "store"), encoding="utf-8")
    return path


def record_run(path, multiplier, low, high, pairs, day=1, config_hash=None):
    """Put a finished run with a multiplier into the mill's store."""
    described = load_mill(path)
    end = datetime(2025, 11, day, tzinfo=UTC)
    store_of(described).record_run(
        {
            "run_id": f"run{day}",
            "flow": "backfill",
            "window_start": datetime(2025, 10, 6, tzinfo=UTC),
            "window_end": end,
            "as_of": end,
            "config_hash": config_hash or described.config_hash,
            "inputs_hash": "x",
            "versions": {},
            "multiplier": multiplier,
            "multiplier_low": low,
            "multiplier_high": high,
            "multiplier_pairs": pairs,
            "started_at": end,
            "finished_at": end,
            "state": "finished",
        }
    )


def test_standing_answers_programs_with_exactly_these_keys(capsys):
    found = answered(capsys, words())
    assert list(found) == [
        "lost_pct",
        "lost_pct_low",
        "lost_pct_high",
        "rs_made_pct",
        "ph_end",
        "hours_to_tenth_pct",
    ]
    assert found["lost_pct_low"] < found["lost_pct"] < found["lost_pct_high"]
    # Stoichiometry from molar masses: 1.05263 (computed).
    assert found["rs_made_pct"] == pytest.approx(1.05263 * found["lost_pct"], rel=1e-5)
    assert 6.0 < found["ph_end"] < 6.9
    assert 0.5 < found["hours_to_tenth_pct"] < 8.0


def test_hot_and_cold_readings_of_the_same_juice_agree(capsys):
    cold = answered(capsys, words())
    hot = answered(capsys, words(ph=str(6.9 - 0.006 * 72.0), ph_at="hot"))
    assert hot["lost_pct"] == pytest.approx(cold["lost_pct"], rel=1e-9)
    assert hot["ph_end"] == pytest.approx(cold["ph_end"] - 0.006 * 72.0)


def test_cooling_juice_loses_less_and_may_never_lose_a_tenth(capsys):
    assert (
        answered(capsys, words(cooling="1.5"))["lost_pct"] < answered(capsys, words())["lost_pct"]
    )
    assert answered(capsys, words(ph="7.4", cooling="50"))["hours_to_tenth_pct"] is None
    assert "not lost within 30 days" in told(capsys, words(ph="7.4", cooling="50"))


def test_standing_tells_a_person_first_what_is_lost(capsys):
    text = told(capsys, words(cooling="1.5"))
    first = text.splitlines()[0]
    pattern = r"About [\d.]+ % of the sucrose \([\d.]+ to [\d.]+ %\) is lost in 8 h\."
    assert re.fullmatch(pattern, first)
    assert len(re.findall(r"^\d+\t", text, flags=re.MULTILINE)) == 9
    for caution in ("confined spaces", "lime burns", "licensed people", "site procedures"):
        assert caution in text
    assert "microbes" not in text
    assert "microbes" in told(capsys, words(temp="75"))
    assert "Beyond the kinetics" in told(capsys, words(temp="50"))


def test_a_long_hold_is_told_in_few_rows(capsys):
    text = told(capsys, words(hours="100", temp="70"))
    assert len(re.findall(r"^\d+\t", text, flags=re.MULTILINE)) <= 26
    assert re.search(r"^100\t", text, flags=re.MULTILINE)


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        ({"ph": "3.9"}, "--ph 3.9"),
        ({"ph": "9.1"}, "--ph 9.1"),
        ({"ph": "nan"}, "--ph nan"),
        ({"temp": "19"}, "--temp 19 degC"),
        ({"temp": "131"}, "--temp 131 degC"),
        ({"brix": "0"}, "--brix 0 %"),
        ({"brix": "81"}, "--brix 81 %"),
        ({"hours": "0"}, "--hours 0 h"),
        ({"hours": "721"}, "--hours 721 h"),
        ({"cooling": "-1"}, "--cooling -1 K/h"),
        ({"ph": "2", "temp": "inf"}, "--ph 2, --temp inf degC"),
    ],
    ids=str,
)
def test_what_cannot_be_worked_out_is_refused_with_the_range(changed, where, capsys):
    assert app.run(words(**changed)) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in lines] == ["What", "Where", "Next"]
    assert where in lines[1]
    assert "60-130 degC" in lines[2]


@pytest.mark.parametrize(
    "typed",
    [
        words(ph=None),
        words(ph_at=None),
        words(ph_at="warm"),
        words(temp="hot"),
        words(mill="absent.toml"),
        ["setpoint"],
        ["setpoint", "absent.toml", "--json"],
    ],
    ids=" ".join,
)
def test_whatever_is_typed_wrong_gives_three_lines_and_code_2(typed, capsys):
    assert app.run(typed) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in lines] == ["What", "Where", "Next"]


def test_a_mill_answers_with_its_own_kinetics(mill, capsys):
    plain, own = answered(capsys, words()), answered(capsys, words(mill=str(mill)))
    # Multiplier 1.5 as described; acid made earlier and earlier adds a little.
    assert own["lost_pct"] == pytest.approx(1.5 * plain["lost_pct"], rel=0.02)
    assert "as described for Brindlewater" in told(capsys, words(mill=str(mill)))
    assert not (mill.parent / "store").exists()


def test_the_fitted_multiplier_of_the_latest_run_wins(mill, capsys):
    plain = answered(capsys, words())
    record_run(mill, 9.0, 8.0, 10.0, pairs=40, day=3)
    record_run(mill, 2.0, 1.6, 2.5, pairs=80, day=20)
    record_run(mill, 1.5, 0.6, 4.0, pairs=0, day=25)
    fitted = answered(capsys, words(mill=str(mill), temp="97.5", hours="0.5"))
    base = answered(capsys, words(temp="97.5", hours="0.5"))
    assert fitted["lost_pct"] == pytest.approx(2.0 * base["lost_pct"], rel=0.03)
    # As hot as the settler whose results gave the fit, the pH slope adds nothing to the interval.
    width = fitted["lost_pct_high"] / fitted["lost_pct_low"]
    assert width == pytest.approx(2.5 / 1.6, rel=0.15)
    assert width < plain["lost_pct_high"] / plain["lost_pct_low"]
    text = told(capsys, words(mill=str(mill)))
    assert "fitted to 80 laboratory samples of Brindlewater up to 2025-11-19" in text
    assert "before its description was changed" not in text


def test_a_fit_under_another_description_says_so(mill, capsys):
    record_run(mill, 2.0, 1.6, 2.5, pairs=80, config_hash="another")
    assert "before its description was changed" in told(capsys, words(mill=str(mill)))


def test_setpoint_answers_programs_with_the_curve(mill, capsys):
    found = answered(capsys, ["setpoint", str(mill)])
    assert found["currency"] == "USD"
    assert found["target_ph_limed"] == 7.5
    assert found["best_ph_limed_low"] < found["best_ph_limed"] < found["best_ph_limed_high"]
    assert found["flat_from_ph"] < found["best_ph_limed"] < found["flat_to_ph"]
    assert 7.2 <= found["advised_from_ph"] <= found["advised_to_ph"] <= 7.8
    assert [row["ph_limed"] for row in found["curve"]] == pytest.approx(
        [6.6 + 0.1 * n for n in range(21)]
    )
    cheapest = min(found["curve"], key=lambda row: row["cost_per_day"])
    assert cheapest["ph_limed"] == pytest.approx(found["best_ph_limed"], abs=0.1)
    for row in found["curve"]:
        parts = ("inversion_per_day", "reducing_sugar_per_day", "lime_per_day")
        assert row["cost_per_day"] == pytest.approx(sum(row[part] for part in parts))
        assert row["cost_per_day_low"] <= row["cost_per_day"] <= row["cost_per_day_high"]
    # Estimates where the description names no price: 0.6 and 0.3 of 520 USD/t.
    assert found["prices_per_t"] == pytest.approx(
        {"sucrose": 520.0, "reducing_sugar": 312.0, "lime": 156.0}
    )


def test_setpoint_follows_prices_and_fit(mill, capsys):
    usual = answered(capsys, ["setpoint", str(mill)])
    text = mill.read_text(encoding="utf-8")
    dear = text + "\n[prices]\nreducing_sugar_per_t = 1500.0\nlime_per_t = 10.0\n"
    mill.write_text(dear, encoding="utf-8")
    priced = answered(capsys, ["setpoint", str(mill)])
    assert priced["best_ph_limed"] < usual["best_ph_limed"]
    assert "USD 1,500 a tonne (as described)" in told(capsys, ["setpoint", str(mill)])
    record_run(mill, 4.0, 3.6, 4.4, pairs=60)
    fitted = answered(capsys, ["setpoint", str(mill)])
    assert fitted["best_ph_limed"] > priced["best_ph_limed"]
    assert fitted["multiplier"] == 4.0


def test_setpoint_tells_a_person_what_it_matters_and_who_may_act(mill, capsys):
    text = told(capsys, ["setpoint", str(mill)])
    first = text.splitlines()[0]
    # What leads is a range, and none of it lies where juice settles badly (common practice).
    led = re.match(r"Limed juice costs least at pH (7\.\d) to (7\.\d) of what settles well", first)
    assert 7.2 <= float(led[1]) <= float(led[2]) <= 7.8
    assert re.search(r"alone the least would lie near [78]\.\d\d \(7\.\d\d to 8\.\d\d\)", text)
    assert "Scale in the evaporators has no price here" in text
    assert re.search(r"Between 7\.\d\d and 8\.\d\d the cost differs by less than USD \d+", text)
    assert "nothing here speaks for changing it" in text
    assert "estimate" in text
    assert "licensed and authorised people" in text


def test_setpoint_needs_a_train(tmp_path, capsys):
    text = (CONFIGS / "demo_mill.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("# The train, in flow order.")
    tags = rest[rest.index("[tags.") :]
    path = tmp_path / "mill.toml"
    path.write_text(head + tags, encoding="utf-8")
    assert app.run(["setpoint", str(path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in lines] == ["What", "Where", "Next"]
    assert "no vessels" in lines[1]
