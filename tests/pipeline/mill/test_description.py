"""Descriptions of mills: what is accepted, and that every fault is named with its cure."""

import tomllib
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pipeline.base.errors import ConfigError
from pipeline.mill.description import load_mill

CONFIGS = Path(__file__).resolve().parents[3] / "configs"

SOUND = """
[mill]
name = "Testmill"
key = "testmill"
zone = "America/Chicago"
store = "store"
sucrose_price_per_t = 520.0
currency = "USD"

[targets]
flow_feed_m3_h = 265.0
ph_limed = 7.5
ph_clear = 6.95

[[train]]
name = "heater"
kind = "heater"
volume_m3 = 4.0
temp_degc = 103.0

[[train]]
name = "settler"
kind = "settler"
volume_m3 = 340.0
area_m2 = 95.0
temp_degc = 97.5

[tags."FI1"]
quantity = "flow"
place = "mixed_juice"
unit = "m3/h"
range = [0.0, 450.0]

[tags."TI1"]
quantity = "temperature"
place = "heater"
port = "out"
unit = "degF"
range = [32.0, 248.0]

[lab."CJ rs"]
analyte = "rs"
place = "settler"
port = "out"
unit = "mg/kg"
range = [0.0, 50000.0]
sd = 100.0
"""


def load(tmp_path, text):
    path = tmp_path / "mill.toml"
    path.write_text(text, encoding="utf-8")
    return load_mill(path)


def faults(tmp_path, text):
    with pytest.raises(ConfigError) as caught:
        load(tmp_path, text)
    return caught.value.where


@pytest.mark.parametrize("path", sorted(CONFIGS.glob("*.toml")), ids=lambda path: path.name)
def test_every_description_that_ships_is_sound(path):
    mill = load_mill(path)
    assert mill.station.vessels
    assert mill.store_path.is_absolute()


def test_the_demonstration_mill_has_all_its_sources():
    station = load_mill(CONFIGS / "demo_mill.toml").station
    assert (len(station.signals), len(station.lab), len(station.vessels)) == (31, 19, 8)
    assert [v.step for v in station.vessels] == list(range(1, 9))


def test_the_template_names_every_key():
    from pipeline.mill import export_layout, sections

    text = (CONFIGS / "template.toml").read_text(encoding="utf-8")
    for model in (vars(sections) | vars(export_layout)).values():
        if isinstance(model, type) and issubclass(model, sections.Section):
            for key in model.model_fields:
                assert key in text, f"{model.__name__}.{key} is not in template.toml"


def test_ranges_and_errors_are_kept_in_inside_units(tmp_path):
    mill = load(tmp_path, SOUND)
    heater = mill.station.signal("temperature", "heater")
    assert (heater.low, heater.high) == pytest.approx((0.0, 120.0))
    assert mill.station.lab[0].sd == pytest.approx(0.01)
    assert mill.unit_changes["TI1"].apply(212.0) == pytest.approx(100.0)
    assert mill.store_path == tmp_path / "store"


def test_the_hash_follows_results_not_places(tmp_path):
    plain = load(tmp_path, SOUND).config_hash
    moved = SOUND.replace('store = "store"', 'store = "elsewhere"')
    assert load(tmp_path, moved).config_hash == plain
    assert load(tmp_path, SOUND.replace("340.0", "341.0")).config_hash != plain


def test_prices_of_sugars_and_lime_are_optional_and_change_no_finding(tmp_path):
    plain = load(tmp_path, SOUND)
    assert (plain.prices.reducing_sugar_per_t, plain.prices.lime_per_t) == (None, None)
    priced = load(tmp_path, SOUND + "\n[prices]\nreducing_sugar_per_t = 0.0\nlime_per_t = 140.0\n")
    assert (priced.prices.reducing_sugar_per_t, priced.prices.lime_per_t) == (0.0, 140.0)
    assert priced.config_hash == plain.config_hash
    with pytest.raises(ConfigError, match=r"prices\.lime_per_t"):
        load(tmp_path, SOUND + "\n[prices]\nlime_per_t = -1.0\n")


@pytest.mark.parametrize(
    ("lines", "least_t"),
    # 265 m3/h feed about 34 t/h of sucrose; 0.018 % of a day is 0.15 t; 104 at 520 a tonne 0.2 t.
    [
        ("", 0.15),
        ("[detection]\nsmallest_finding_t = 0.02", 0.02),
        ("[detection]\nsmallest_finding_t = 0.0", 0.0),
        ("[detection]\nsmallest_finding_worth = 104.0", 0.2),
    ],
)
def test_the_smallest_finding_follows_size_or_price_unless_it_is_given(tmp_path, lines, least_t):
    (tmp_path / "mill.toml").write_text(f"{SOUND}\n{lines}\n", encoding="utf-8")
    assert load_mill(tmp_path / "mill.toml").smallest_finding_t == least_t


def test_the_smallest_finding_in_tonnes_and_in_money_contradict_each_other(tmp_path):
    both = "[detection]\nsmallest_finding_t = 0.1\nsmallest_finding_worth = 80.0"
    (tmp_path / "mill.toml").write_text(f"{SOUND}\n{both}\n", encoding="utf-8")
    with pytest.raises(ConfigError, match="not both"):
        load_mill(tmp_path / "mill.toml")


def test_a_mill_without_a_train_may_have_tags_anywhere(tmp_path):
    head, _, rest = SOUND.partition("[targets]")
    text = head + rest[rest.index("[tags") :]
    assert load(tmp_path, text).station.vessels == ()


def test_local_days_follow_the_clocks(tmp_path):
    # Clocks go back in Chicago on 2025-11-02 (IANA tz database): that day has 25 hours.
    mill = load(tmp_path, SOUND)
    start, end = mill.day_span_utc(date(2025, 11, 2), date(2025, 11, 2))
    assert start == datetime(2025, 11, 2, 5, tzinfo=UTC)
    assert (end - start).total_seconds() == 25 * 3600
    assert mill.local_day(datetime(2025, 11, 3, 5, 59, tzinfo=UTC)) == date(2025, 11, 2)


ONE_FAULT = {
    "misspelt section": (
        "[targets]",
        "[target]",
        'target: is not a known section. Did you mean "ta',
    ),
    "misspelt key": (
        "volume_m3 = 4.0",
        "volum_m3 = 4.0",
        "train.1.volum_m3: is not a known key. Di",
    ),
    "missing key": ('currency = "USD"', "", "mill.currency: is missing"),
    "unknown zone": ("America/Chicago", "America/Chicgo", 'Did you mean "America/Chicago"?'),
    "unknown kind": ('kind = "heater"', 'kind = "heatr"', 'Did you mean "heater"?'),
    "unknown quantity": ('quantity = "flow"', 'quantity = "flows"', 'Did you mean "flow"?'),
    "unknown place": ('place = "heater"', 'place = "heatr"', 'Did you mean "heater"?'),
    "unknown unit": ('unit = "degF"', 'unit = "bar"', '"bar" is not a unit of temperature'),
    "unknown lab unit": ('unit = "mg/kg"', 'unit = "pH"', '"pH" is not a unit of rs'),
    "range reversed": ("range = [0.0, 450.0]", "range = [450.0, 0.0]", "lowest goes first"),
    "level above 100": (
        "temp_degc = 97.5",
        "temp_degc = 97.5\nlevel_pct = 110",
        "less than or equ",
    ),
    "not finite": ("520.0", "inf", "finite number"),
    "step gap": ('name = "settler"', 'name = "settler"\nstep = 4', "no vessel stands at step 2, 3"),
    "same vessel twice": ('name = "settler"', 'name = "heater"', "same name as train.1"),
    "reserved name": ('name = "heater"', 'name = "mill"', "is reserved"),
    "settler without area": ("area_m2 = 95.0", "", "area_m2: is missing for a settler"),
    "mud in a heater": ("volume_m3 = 4.0", "volume_m3 = 4.0\nmud_volume_m3 = 1", "has a mud zone"),
    "mud port": (
        'port = "out"\nunit = "degF"',
        'port = "mud"\nunit = "degF"',
        "heater is a heater",
    ),
    "port of the feed": (
        'place = "mixed_juice"',
        'place = "mill"\nport = "in"',
        "mill has no port",
    ),
    "lab without place": ('place = "settler"\n', "", 'lab."CJ rs".place: is missing'),
    "lab without error": ("sd = 100.0", "", "has no standard error"),
    "target outside range": ("flow_feed_m3_h = 265.0", "flow_feed_m3_h = 600.0", "the target 600"),
    "no targets": (
        "[targets]\nflow_feed_m3_h = 265.0\nph_limed = 7.5\nph_clear = 6.95",
        "",
        "targets: i",
    ),
    "no capital currency": ('"USD"', '"usd"', "ISO 4217"),
}


@pytest.mark.parametrize("case", ONE_FAULT)
def test_a_fault_is_named_with_key_and_cure(tmp_path, case):
    old, new, expected = ONE_FAULT[case]
    assert old in SOUND
    assert expected in faults(tmp_path, SOUND.replace(old, new, 1))


def test_two_tags_for_one_thing(tmp_path):
    again = SOUND[SOUND.index('[tags."FI1"]') : SOUND.index('[tags."TI1"]')].replace("FI1", "FI2")
    assert 'claims flow mixed_juice, as does tags."FI1"' in faults(tmp_path, SOUND + again)


def test_two_lab_series_for_one_thing(tmp_path):
    again = SOUND[SOUND.index("[lab.") :].replace("CJ rs", "CJ RS again")
    assert 'claims rs settler out, as does lab."CJ rs"' in faults(tmp_path, SOUND + again)


def test_a_name_as_tag_and_as_lab_series(tmp_path):
    assert "is also under [tags]" in faults(tmp_path, SOUND.replace('lab."CJ rs"', 'lab."FI1"'))


def test_layouts_are_checked(tmp_path):
    layouts = """
[exports]
[[exports.layout]]
name = "one"
match = "*.csv"
delimiter = ","
decimal = ","
[[exports.layout]]
name = "two"
time_zone = "UCT2"
shappe = "wide"
"""
    text = faults(tmp_path, SOUND + layouts)
    assert "delimiter and decimal are both" in text
    assert 'exports.layout.2.shappe: is not a known key. Did you mean "shape"?' in text


def test_a_layout_that_can_never_be_used(tmp_path):
    layouts = '\n[[exports.layout]]\nname = "one"\n[[exports.layout]]\nname = "two"\n'
    assert "so it is never used" in faults(tmp_path, SOUND + layouts)


def test_all_faults_come_at_once(tmp_path):
    text = SOUND
    for old, new in (
        ("America/Chicago", "Mars/Base"),
        ('currency = "USD"\n', ""),
        ("volume_m3 = 4.0", "volume_m3 = -4.0"),
        ("range = [0.0, 450.0]", "range = [450.0, 0.0]"),
        ('unit = "degF"', 'unit = "bar"'),
        ('place = "settler"', 'place = "setler"'),
    ):
        text = text.replace(old, new, 1)
    lines = faults(tmp_path, text).splitlines()
    assert len(lines) == 1 + 6


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"[mill\n", "not valid TOML"),
        (b"\xff\xfe", "not UTF-8"),
        (b"", "description has"),
        (b"mill = 3\ntrain = 4\ntags = 5\nlab = []\nexports = 1", "description has"),
        (b"[tags]\nFI1 = 3\n[[train]]\n", "description has"),
    ],
)
def test_files_that_are_no_description(tmp_path, content, expected):
    path = tmp_path / "mill.toml"
    path.write_bytes(content)
    with pytest.raises(ConfigError) as caught:
        load_mill(path)
    assert expected in caught.value.what


def test_paths_that_are_no_file(tmp_path):
    for path in (tmp_path / "absent.toml", tmp_path):
        with pytest.raises(ConfigError) as caught:
            load_mill(path)
        assert str(path) in caught.value.where


def test_the_sound_text_is_toml():
    assert tomllib.loads(SOUND)["mill"]["key"] == "testmill"


def test_two_faults_of_one_tag_come_at_once(tmp_path):
    demo = Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml"
    before, after = demo.read_text(encoding="utf-8").split('[tags."MJ.FI101"]', 1)
    after = after.replace('unit = "m3/h"', 'unit = "furlong"', 1)
    after = after.replace("range = [0.0, 450.0]", "range = [450.0, 0.0]", 1)
    path = tmp_path / "mill.toml"
    path.write_text(f'{before}[tags."MJ.FI101"]{after}', encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_mill(path)
    told = str(caught.value.where)
    assert "furlong" in told
    assert "450" in told
