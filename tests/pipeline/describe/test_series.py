"""Lines of a draft for tags: they load as they stand, whatever the names."""

import tomllib

import numpy as np
import pytest
from made_looks import ENGLISH, TRUTH, UNITS, look_of, mill_looks, minutes, sample

from pipeline.describe.series import tag_lines
from pipeline.places.guess import guess_tags


def drafted(looks):
    text = "\n".join(tag_lines(guess_tags(looks)))
    return tomllib.loads(text).get("tags", {}), text


def test_seconds_stand_beside_and_set_points_are_comments():
    second, value = sample()["ST.AI308"]
    beside = look_of("CJ pH B", second, value + 0.02, "pH")
    held = np.repeat([7.5, 7.6, 7.5, 7.4], len(minutes()) // 4)
    aim = look_of("LJ pH SP", minutes()[: len(held)], held, "pH")
    tags, text = drafted([*mill_looks(ENGLISH), beside, aim])
    assert {tags["CJ pH"].get("beside"), tags["CJ pH B"].get("beside")} in (
        {None, "CJ pH"}, {None, "CJ pH B"},
    )  # fmt: skip
    assert "LJ pH SP" not in tags
    assert '# "LJ pH SP" is the set-point of "LJ pH"' in text


def test_what_a_unit_leaves_open_is_asked():
    def change(tag, value):
        if TRUTH[tag][0] == "level":
            return 0.04 * value, "m"
        if TRUTH[tag][0] == "flow":
            return 1.05 * value, "t/h"
        return value, UNITS[tag]

    tags, text = drafted(mill_looks(ENGLISH, change=change))
    level = tags["CJTk Level"]
    assert level["height_m"] >= 0.04 * 40.0
    assert level["range"][1] > level["height_m"]
    assert "height_m" in tags["Clarifier Level"]
    # Only mud and doses: the density of juice follows from its Brix.
    assert 1000.0 < tags["Mud Flow"]["density_kg_m3"] < 1300.0
    assert "density_kg_m3" not in tags["CJ Flow"]
    assert text.count("# CONFIRM") >= 5


def test_interpolation_is_written_with_its_reason():
    second = minutes()
    value = np.round(7.0 + 0.3 * np.sin(second / 40000.0), 3)
    kept = [0]
    for n, x in enumerate(value):
        if abs(x - value[kept[-1]]) > 0.02:
            kept.append(n)
    looks = [look for look in mill_looks(ENGLISH) if look.name != "CJ pH"]
    tags, text = drafted([*looks, look_of("CJ pH", second[kept], value[kept] - 0.05, "pH")])
    assert tags["CJ pH"]["interpolation"] == "step"
    assert "written only after a change of 0.02" in text


@pytest.mark.parametrize("name", ['evil"] ; name = "x', "line\nbreak pH", "# Clear juice pH"])
def test_foreign_names_do_not_break_the_draft(name):
    second, value = sample()["ST.AI308"]
    tags, _ = drafted([look_of(name, second, value, "pH"), *mill_looks(ENGLISH)])
    assert set(tags) <= {name, *ENGLISH.values()}
