"""What a unit means for a tag, with its density, height and the pressure of the air."""

import pytest

from pipeline.base.errors import ConfigError
from pipeline.mill.description import load_mill
from pipeline.mill.scales import Scale


def mill(tmp_path, replaced=(), more=""):
    from pathlib import Path

    text = (Path(__file__).resolve().parents[3] / "configs" / "template.toml").read_text("utf-8")
    for old, new in replaced:
        assert old in text
        text = text.replace(old, new, 1)
    (tmp_path / "mill.toml").write_text(text + more, encoding="utf-8")
    return load_mill(tmp_path / "mill.toml")


IN_T_H = [('unit = "m3/h"\nrange = [0.0, 500.0]', 'unit = "t/h"\nrange = [0.0, 500.0]')]


def test_juice_in_mass_becomes_volume_by_its_density(tmp_path):
    """Specific gravity 20/20 of 14.5 Brix is 1.059 (Brix table of NBS C440, memory).

    That is 1057 kg/m3; ten degrees more take 3 off. The polynomial itself is checked in
    tests/features/juice.
    """
    found = mill(tmp_path, IN_T_H)
    change = found.unit_changes["MIXED JUICE FLOW"]
    assert 1000.0 / change.scale == pytest.approx(1054.0, rel=0.002)
    assert found.station.signals[0].high == pytest.approx(500.0 * change.scale)
    assumed = found.scales["MIXED JUICE FLOW"].found("t/h").assumed
    assert "14.5 Brix at 30 °C" in assumed
    kilos = found.change_from("MIXED JUICE FLOW", "kg/s")
    assert kilos.scale == pytest.approx(3.6 * change.scale)


def test_the_density_of_the_description_holds(tmp_path):
    more = [(IN_T_H[0][0], IN_T_H[0][1] + "\ndensity_kg_m3 = 1000.0")]
    assert mill(tmp_path, more).unit_changes["MIXED JUICE FLOW"].scale == 1.0


def test_where_the_description_says_volume_mass_is_not_sure(tmp_path):
    found = mill(tmp_path).scales["MIXED JUICE FLOW"].found("t/h")
    assert found.change is not None and not found.sure


def test_a_height_needs_the_height_that_counts_as_full(tmp_path):
    level = '\n[tags."TANK"]\nquantity = "level"\nplace = "clear_juice_tank"\nunit = "{}"\n'
    level += "range = [0.0, 8.0]\n"
    with pytest.raises(ConfigError, match="height_m"):
        mill(tmp_path, more=level.format("m"))
    found = mill(tmp_path, more=level.format("m") + "height_m = 8.0\n")
    assert found.unit_changes["TANK"].apply(2.0) == 25.0
    assert found.change_from("TANK", "cm").apply(200.0) == 25.0
    found = mill(tmp_path, more=level.format("%").replace("8.0", "100.0"))
    assert found.change_from("TANK", "m") is None
    assert found.scales["TANK"].found("m").lacking == "height_m"
    assert found.scales["TANK"].found("mA").lacking == ""


def test_gauge_pressures_get_the_air_of_the_mill():
    plain = Scale("steam_pressure", None, "kPa")
    assert plain.found("kPa(g)").change.apply(0.0) == 101.325
    assert "standard atmosphere" in plain.found("kPa(g)").assumed
    high = Scale("steam_pressure", None, "kPa(g)", air_kpa=90.0)
    assert high.found("kPa(g)").change.apply(10.0) == 100.0
    # A plain bar where the description says gauge is gauge, too; an absolute one is not.
    assert high.found("bar").change.apply(1.0) == 190.0
    assert high.found("bar(a)").change.apply(1.0) == 100.0


def test_other_tags_keep_the_unit_of_the_description():
    yard = Scale("other", None, "degC")
    assert yard.found("°F").change.apply(212.0) == pytest.approx(100.0)
    assert yard.found("degC").change.apply(5.0) == 5.0
    for text in ("*", "kPa", "est", "-"):
        assert yard.found(text).change is None, text
    assert Scale("other", None, "A").found("mA").change.apply(5.0) == pytest.approx(0.005)


def test_units_of_layouts_are_checked(tmp_path):
    layout = [('match = "lab*.csv"', 'match = "lab*.csv"\nunits = {{ "{}" = "{}" }}')]

    def with_units(name, unit):
        return [(layout[0][0], layout[0][1].format(name, unit))]

    assert mill(tmp_path, with_units("MIXED JUICE FLOW", "L/s"))
    assert mill(tmp_path, with_units("Grd", "degF"))
    for name, unit in (("MIXED JUICE FLOW", "kPa"), ("Grd", "huh")):
        with pytest.raises(ConfigError, match="units"):
            mill(tmp_path, with_units(name, unit))
