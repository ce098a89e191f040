"""Tables beside the readings: lists of tags, and of vessels."""

import polars as pl
import pytest

from pipeline.describe.lists import read_sizes, read_tag_list, vessel_named
from pipeline.intake import Table

TAGS = {"FT-101", "AT-212", "TT-330"}


def table(**columns):
    return Table("list", pl.DataFrame(columns))


def test_a_list_of_these_tags():
    listed = read_tag_list(
        table(
            no=["1", "2", "3"],
            tag=["FT-101", "AT-212", "LT-9"],
            what=["mixed juice", "limed juice", "level"],
            eu=["m3/h", "pH", "%"],
        ),
        TAGS,
    )
    assert listed is not None
    assert (listed.met, listed.total, listed.fits) == (2, 3, True)
    assert listed.words == {"FT-101": "mixed juice", "AT-212": "limed juice"}
    assert listed.units == {"FT-101": "m3/h", "AT-212": "pH"}


def test_a_list_of_another_station_is_told_and_left():
    rows = [f"X-{k}" for k in range(20)]
    listed = read_tag_list(table(tag=["FT-101", *rows], what=["x"] * 21), TAGS)
    assert listed is not None
    assert not listed.fits
    other = read_tag_list(table(tag=rows, eu=["m3/h"] * 20), TAGS)
    assert other is not None
    assert (other.met, other.fits) == (0, False)


@pytest.mark.parametrize(
    "columns", [{"poem": ["roses", "violets"], "x": ["red", "blue"]}, {"tag": ["FT-101"]}]
)
def test_what_is_no_list(columns):
    assert read_tag_list(table(**columns), TAGS) is None


def test_sizes_of_vessels():
    sizes = read_sizes(
        table(
            vessel=["Clarifier 1", "Clarifier 2", "Liming tank", "Boiler"],
            vol=["200", "300,5", "80", "10"],
            area=["60", "70", "", ""],
        )
    )
    assert sizes is not None
    assert set(sizes.of) == {"settler", "liming_tank"}
    settler = sizes.of["settler"]
    assert (settler.volume_m3, settler.area_m2) == (500.5, 130.0)
    assert settler.called == "Clarifier 1, Clarifier 2"
    assert sizes.of["liming_tank"].area_m2 is None


@pytest.mark.parametrize("volume", ["0", "-5", "nan", "inf", "1e300", "", "?"])
def test_volumes_that_cannot_be(volume):
    assert read_sizes(table(vessel=["Clarifier"], vol=[volume])) is None


def test_a_table_without_volumes():
    assert read_sizes(table(vessel=["Clarifier"], height=["3"])) is None


@pytest.mark.parametrize(
    ("text", "vessel"),
    [
        ("Clarifier", "settler"), ("Clarificador", "settler"), ("Liming tank", "liming_tank"),
        ("Clear juice tank", "clear_juice_tank"), ("Primary heater", "primary_heater"),
        ("Flash tank", "flash_tank"), ("Boiler", None), ("", None),
        ("Tanque de encalado", "liming_tank"), ("Evaporator 1", "first_evaporator"),
        ("Evaporator 2", None), ("Lime tank", None),
    ],
)  # fmt: skip
def test_names_of_vessels(text, vessel):
    assert vessel_named(text) == vessel
