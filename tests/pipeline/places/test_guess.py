"""Whole mills placed at once: the sample's courses under other names, units and sizes.

Levels and delays are the sample's; how sure a guess is was set on more mills than these.
"""

import time

import numpy as np
import pytest
from made_looks import (
    ENGLISH,
    FRENCH,
    PORTUGUESE,
    SPANISH,
    TRUTH,
    UNITS,
    look_of,
    mill_looks,
    minutes,
    sample,
    wandering,
)

from pipeline.describe.series import tag_lines
from pipeline.places.arrange import by_area
from pipeline.places.guess import guess_tags
from pipeline.places.points import POINTS

#: Letters of ISA-5.1 for what the sample's tags measure.
LETTERS = {
    "temperature": "TI", "flow": "FI", "imbibition_flow": "FI", "lime_flow": "FIC", "ph": "AI",
    "flocculant_flow": "FIC", "brix": "AI", "turbidity": "AI", "conductivity": "AI",
    "level": "LI", "mud_level": "LI", "steam_pressure": "PI", "cane_rate": "WI",
}  # fmt: skip
LETTERED = {t: f"{LETTERS[TRUTH[t][0]]}{1000 + 137 * n % 997}" for n, t in enumerate(sorted(TRUTH))}


def at(guesses):
    """Point of each tag by name; None without one."""
    return {g.tag.name: g.point.key if g.point else None for g in guesses}


def score(guesses, names):
    """Tags placed right, and placed wrong."""
    found = at(guesses)
    right = sum(found[names[tag]] == TRUTH[tag] for tag in names)
    wrong = sum(found[names[tag]] not in (None, TRUTH[tag]) for tag in names)
    return right, wrong


def fahrenheit(tag, value):
    """Temperatures in degF, juice as mass, heights in metres; the mill half as large."""
    quantity = TRUTH[tag][0]
    if quantity == "temperature":
        return value * 1.8 + 32.0, "degF"
    if quantity == "flow":
        return 0.5 * value * 1.05, "t/h"
    if quantity in ("imbibition_flow", "lime_flow", "flocculant_flow", "cane_rate"):
        return 0.5 * value, {"cane_rate": "t/h", "imbibition_flow": "m3/h"}.get(quantity, "L/h")
    if quantity in ("level", "mud_level"):
        return value * 0.04, "m"
    units = {"ph": "pH", "steam_pressure": "kPa", "turbidity": "NTU", "conductivity": "mS/cm"}
    return value, units.get(quantity, "%")


@pytest.mark.parametrize("units", [True, False])
@pytest.mark.parametrize("names", [ENGLISH, SPANISH, PORTUGUESE, FRENCH])
def test_names_of_four_languages_with_and_without_units(names, units):
    right, wrong = score(guess_tags(mill_looks(names, units=units)), names)
    assert right >= 0.95 * len(names)
    assert wrong == 0


@pytest.mark.parametrize("names", [ENGLISH, SPANISH])
def test_other_units_and_another_size(names):
    right, wrong = score(guess_tags(mill_looks(names, change=fahrenheit)), names)
    assert right >= 0.95 * len(names)
    assert wrong == 0


def test_letters_and_numbers_alone_place_most_and_nothing_wrong():
    right, wrong = score(guess_tags(mill_looks(LETTERED)), LETTERED)
    assert right >= 24
    assert wrong == 0


def test_words_beside_say_what_numbers_do_not():
    names = {tag: f"DB4.W{8 * n}" for n, tag in enumerate(sorted(TRUTH))}
    right, wrong = score(guess_tags(mill_looks(names, words=FRENCH)), names)
    assert (right, wrong) == (len(names), 0)


def test_letters_that_units_contradict_mean_nothing():
    """Every tag begins with "AI", for analogue input: no analysis by ISA-5.1 then."""
    names = {tag: f"AI{100 + n}" for n, tag in enumerate(sorted(TRUTH))}
    right, wrong = score(guess_tags(mill_looks(names)), names)
    assert right >= 18
    assert wrong <= 1


def test_what_has_no_place_gets_none():
    second, size = minutes(), len(minutes())
    elsewhere = [
        ("Boiler steam pressure", "bar", 21.0, 0.3), ("Mill 1 speed", "rpm", 5.6, 0.2),
        ("MJ pump current", "A", 86.0, 3.0), ("Cooling water temp", "degC", 33.0, 1.5),
        ("Syrup brix", "%", 64.0, 1.0), ("CJ valve position", "%", 40.0, 6.0),
        ("Evap 2 Temp", "degC", 103.5, 0.8), ("Boiler water pH", "pH", 9.4, 0.1),
        ("TT9001", "degC", 52.0, 2.0), ("X17", "", 430.0, 30.0),
    ]  # fmt: skip
    others = [
        look_of(name, second, wandering(n, usual, spread, spread / 8, size), unit)
        for n, (name, unit, usual, spread) in enumerate(elsewhere)
    ]
    total = np.cumsum(np.abs(wandering(99, 4.0, 0.5, 0.1, size)))
    guesses = guess_tags([*mill_looks(ENGLISH), *others, look_of("Cane sum", second, total, "t")])
    found = at(guesses)
    assert [found[name] for name, *_ in elsewhere] == [None] * len(elsewhere)
    assert found["Cane sum"] is None
    assert score(guesses, ENGLISH)[0] == len(ENGLISH)


def swapped(value_limed="CJ pH", value_clear="LJ pH"):
    return ENGLISH | {"LT.AI212": value_limed, "ST.AI308": value_clear}


def test_probes_that_names_exchange_are_doubted():
    """Juice only loses pH in the settler (common practice): the lower pH is the clear juice's."""
    guesses = {g.tag.name: g for g in guess_tags(mill_looks(swapped()))}
    for name in ("CJ pH", "LJ pH"):
        assert guesses[name].sure == "unsure"
        assert "taken as exchanged" in guesses[name].why
    assert guesses["CJ pH"].point.place == "liming_tank"
    honest = {g.tag.name: g for g in guess_tags(mill_looks(ENGLISH))}
    assert honest["CJ pH"].sure != "unsure"


@pytest.mark.parametrize("missing", [(), ("MJ.FI101",), ("MJ.FI101", "ST.FI301")])
def test_a_filtrate_meter_named_like_mixed_juice_does_not_become_it(missing):
    second, value = sample()["ST.FI306"]
    names = {t: n for t, n in ENGLISH.items() if t not in missing}
    meter = look_of("Mixed juice flow 2", second, 0.95 * np.roll(value, 120), "m3/h")
    found = at(guess_tags([*mill_looks(names), meter]))
    assert found["Mixed juice flow 2"] != ("flow", "mixed_juice", "")
    assert found["CJ Flow"] == ("flow", "clear_juice_tank", "out")
    if not missing:
        assert found["MJ Flow"] == ("flow", "mixed_juice", "")


def test_set_points_belong_to_what_they_hold():
    second = minutes()
    looks = mill_looks(ENGLISH)
    aims = []
    for name, unit, levels in (
        ("LJ pH SP", "pH", [7.5, 7.55, 7.45, 7.5]), ("SH aim", "degC", [103.0, 103.5, 103.0, 103.0])
    ):  # fmt: skip
        held = np.repeat(np.array(levels), len(second) // 4 + 1)[: len(second)]
        aims.append(look_of(name, second, held, unit))
    guesses = {g.tag.name: g for g in guess_tags([*looks, *aims])}
    assert (guesses["LJ pH SP"].role, guesses["LJ pH SP"].of) == ("set_point", "LJ pH")
    assert guesses["SH aim"].role in ("set_point", "measured")
    assert guesses["SH aim"].role == "set_point" or guesses["SH aim"].point is None
    assert guesses["LJ pH"].role == "measured"
    assert guesses["Sec Htr Outlet Temp"].point.key == TRUTH["SH.TI221"]


def test_a_set_point_without_a_name_is_known_by_what_follows_it():
    second = minutes()
    held = np.repeat(np.array([7.3, 7.6, 7.4, 7.7]), len(second) // 4 + 1)[: len(second)]
    follower = held + wandering(8, 0.0, 0.02, 0.01, len(second))
    looks = [look for look in mill_looks(ENGLISH) if look.name != "LJ pH"]
    looks += [look_of("LJ pH", second, follower, "pH"), look_of("W17", second, held, "pH")]
    guesses = {g.tag.name: g for g in guess_tags(looks)}
    assert (guesses["W17"].role, guesses["W17"].of) == ("set_point", "LJ pH")
    assert guesses["LJ pH"].role == "measured"


def test_what_only_rises_or_moves_a_valve_is_no_measurement():
    second, value = sample()["MJ.FI101"]
    flow = look_of("Total mixed juice flow", second, value, "m3/h")
    rising = look_of("W18", minutes(), 200.0 + np.cumsum(np.full(len(minutes()), 0.01)), "m3/h")
    valve = look_of("LV131", minutes(), wandering(1, 68.0, 5.0, 0.5, len(minutes())), "%")
    names = {t: n for t, n in ENGLISH.items() if t != "MJ.FI101"}
    guesses = {g.tag.name: g for g in guess_tags([*mill_looks(names), flow, rising, valve])}
    assert guesses["Total mixed juice flow"].point.key == TRUTH["MJ.FI101"]
    assert "only rises" in guesses["W18"].why
    assert "a valve" in guesses["LV131"].why


def test_a_twin_is_no_doubt():
    second, value = sample()["SH.TI221"]
    twin = look_of("W19", second, value + 0.1, "degC")
    alone = {g.tag.name: g for g in guess_tags(mill_looks(LETTERED))}[LETTERED["SH.TI221"]]
    guesses = {g.tag.name: g for g in guess_tags([*mill_looks(LETTERED), twin])}
    assert guesses["W19"].role == "second" or guesses[LETTERED["SH.TI221"]].role == "second"
    assert max(g.confidence for g in guesses.values() if g.point and g.point.key ==
               TRUTH["SH.TI221"]) >= alone.confidence - 0.1  # fmt: skip


def test_tags_of_one_area_stand_together():
    number = {point.key: n for n, point in enumerate(POINTS)}
    clear = [number["temperature", "clear_juice_tank", "inside"],
             number["flow", "clear_juice_tank", "out"]]  # fmt: skip
    bonus = by_area(["4", "4", "4", "7"], {clear[0]: 0, clear[1]: 1})
    level = number["level", "clear_juice_tank", ""]
    assert bonus[2, level] > 0.0
    assert bonus[2, number["level", "liming_tank", ""]] == 0.0
    assert not bonus[3].any()


@pytest.mark.parametrize("bad", [False, True])
def test_second_probes_stand_beside_the_better(bad):
    second, value = sample()["ST.AI308"]
    rng = np.random.default_rng(1)
    other = look_of(
        "CJ pH B", second, value + 0.05 + rng.normal(0.0, 0.005, len(value)), "pH",
        bad=0 if bad else len(value) // 5,
    )  # fmt: skip
    looks = [
        look if look.name != "CJ pH" or not bad
        else look_of("CJ pH", second, value, "pH", bad=len(value) // 5)
        for look in mill_looks(ENGLISH)
    ]  # fmt: skip
    guesses = {g.tag.name: g for g in guess_tags([*looks, other])}
    first, beside = ("CJ pH B", "CJ pH") if bad else ("CJ pH", "CJ pH B")
    assert (guesses[first].role, guesses[beside].role) == ("measured", "second")
    assert guesses[beside].of == first
    assert guesses[first].point.key == guesses[beside].point.key == TRUTH["ST.AI308"]


def test_a_second_probe_by_its_name_takes_no_other_place():
    """It shows three degrees less, as the flash tank does, whose own thermometer is missing."""
    names = {tag: name for tag, name in LETTERED.items() if tag != "FT.TI231"}
    names["SH.TI221"] = "TI221A"
    second, value = sample()["SH.TI221"]
    other = look_of("TI221B", second, value - 2.6, "degC")
    guesses = {g.tag.name: g for g in guess_tags([*mill_looks(names), other])}
    assert {guesses[n].point.place for n in ("TI221A", "TI221B")} == {"secondary_heater"}
    assert {guesses[n].role for n in ("TI221A", "TI221B")} == {"measured", "second"}


def test_a_guessed_unit_is_told():
    looks = mill_looks(ENGLISH, units=False, change=fahrenheit)
    looks = [look for look in looks if TRUTH[_tag(look.name)][0] in ("temperature", "flow", "ph")]
    guesses = guess_tags(looks)
    temperatures = [g for g in guesses if g.point and g.point.quantity == "temperature"]
    assert len(temperatures) >= 9
    assert {g.unit for g in temperatures} == {"degF"}


def american(tag, value):
    """Flows in US gallons a minute, temperatures in degF, steam in psi above the air."""
    quantity = TRUTH[tag][0]
    if quantity in ("flow", "imbibition_flow"):
        return value / 0.2271247, "gpm"  # 3.785411784 L a US gallon (exact), 60 min/h
    if quantity == "temperature":
        return value * 1.8 + 32.0, "degF"
    if quantity == "steam_pressure":
        return (value - 101.325) / 6.894757, "psig"
    return value, UNITS[tag]


def test_flows_without_unit_have_one_for_the_mill_and_cane_tells_it():
    guesses = guess_tags(mill_looks(ENGLISH, units=False, change=american))
    assert score(guesses, ENGLISH)[0] >= 29
    units = {g.point.quantity: g.unit for g in guesses if g.point}
    assert (units["flow"], units["temperature"], units["cane_rate"]) == ("gpm", "degF", "t/h")
    assert units["steam_pressure"] == "psig"


def test_a_steam_pressure_below_that_of_the_air_is_one_above_it():
    """At 0.7 kgf/cm2 absolute water boils below 90 degC (memory): it heats nothing to 103."""
    looks = mill_looks(
        ENGLISH, change=lambda t, v: ((v - 101.325) / 98.0665, "kgf/cm²")
        if TRUTH[t][0] == "steam_pressure" else (v, UNITS[t]),
    )  # fmt: skip
    guesses = {g.tag.name: g for g in guess_tags(looks)}
    assert guesses["Sec Htr Steam Press"].unit == "kgf/cm²(g)"
    text = "\n".join(tag_lines(list(guesses.values())))
    assert 'unit = "kgf/cm²(g)"  # guessed: such a level must be a gauge pressure: CONFIRM' in text


def _tag(name):
    return next(tag for tag, given in ENGLISH.items() if given == name)


def test_reasons_hold_the_evidence():
    guesses = {g.tag.name: g for g in guess_tags(mill_looks(SPANISH))}
    assert "% of the juice flow" in guesses["Q_JC"].why
    assert '"claro"' in guesses["PH_J_CLARO"].why
    assert "min after" in guesses["Q_JC"].why
    assert all(0.5 <= g.confidence <= 1.0 for g in guesses.values() if g.point)


def test_the_order_given_changes_nothing():
    looks = mill_looks(LETTERED)
    assert at(guess_tags(looks)) == at(guess_tags(looks[::-1]))


def test_no_tags_and_empty_courses():
    assert guess_tags([]) == []
    (guess,) = guess_tags([look_of("?", [0.0], [1.0])])
    assert guess.point is None


@pytest.mark.slow
def test_two_hundred_tags_in_seconds():
    second = minutes(14.0)
    kinds = (("degC", 60.0, 8.0), ("m3/h", 90.0, 9.0), ("%", 50.0, 9.0), ("bar", 3.0, 0.3))
    many = []
    for n in range(170):
        unit, usual, spread = kinds[n % len(kinds)]
        value = wandering(n, usual + n % 40, spread, 0.1, len(second))
        many.append(look_of(f"P{n:03d}_X", second, value, unit))
    begun = time.monotonic()
    guesses = guess_tags([*mill_looks(ENGLISH), *many])
    # 20 s on a machine of two cores is what a person waits for; estimate.
    assert time.monotonic() - begun < 20.0
    assert score(guesses, ENGLISH)[0] >= 29
    assert sum(g.point is not None for g in guesses[len(ENGLISH) :]) <= 6
