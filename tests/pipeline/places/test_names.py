"""What names say. The words are common practice of the trade; letters are those of ISA-5.1."""

import pytest

from pipeline.places.evidence import said_of
from pipeline.places.letters import is_letters, no_measurement, quantities_of
from pipeline.places.names import parts_of
from pipeline.places.points import POINTS
from pipeline.places.spelling import folded, known, parted, tokens_of


def best_of(name):
    """The point for which a name speaks most; nothing where none stands out."""
    parts = parts_of(name)
    said = sorted(((said_of(parts, p), n) for n, p in enumerate(POINTS)), reverse=True)
    return POINTS[said[0][1]].key if said[0][0] > max(said[1][0], 0.0) else None


@pytest.mark.parametrize(
    ("name", "point"),
    [
        ("Clear juice tank level", ("level", "clear_juice_tank", "")),
        ("Tanque de jugo claro nivel", ("level", "clear_juice_tank", "")),
        ("NIV_TQ_JC", ("level", "clear_juice_tank", "")),
        ("niveau bac jus clair", ("level", "clear_juice_tank", "")),
        ("NívelTqCaldoClarificado", ("level", "clear_juice_tank", "")),
        ("CJpH", ("ph", "settler", "out")),
        ("pH jus clair", ("ph", "settler", "out")),
        ("CALDO DEC. PH", ("ph", "settler", "out")),
        ("pH jus chaulé", ("ph", "liming_tank", "out")),
        ("ph chaulage", ("ph", "liming_tank", "out")),
        ("ph_jugo_encalado", ("ph", "liming_tank", "out")),
        ("pHCaldoCaleado", ("ph", "liming_tank", "out")),
        ("MJFlow", ("flow", "mixed_juice", "")),
        ("caudal jugo mixto", ("flow", "mixed_juice", "")),
        ("Vazão caldo misto", ("flow", "mixed_juice", "")),
        ("débit jus mélangé", ("flow", "mixed_juice", "")),
        ("Settler mud flow", ("flow", "settler", "mud")),
        ("Q_CACHAZA", ("flow", "settler", "mud")),
        ("Filtrate flow", ("flow", "filtrate", "")),
        ("vazao caldo filtrado", ("flow", "filtrate", "")),
        ("Nivel lodo decantador", ("mud_level", "settler", "mud")),
        ("temp. salida calentador primario", ("temperature", "primary_heater", "out")),
        ("Temp. aquecedor 1", ("temperature", "primary_heater", "out")),
        ("TEMP_CAL_2", ("temperature", "secondary_heater", "out")),
        ("RJS T° sortie", ("temperature", "secondary_heater", "out")),
        ("steam pressure to secondary heater", ("steam_pressure", "secondary_heater", "")),
        ("JugoClaro_T", ("temperature", "clear_juice_tank", "inside")),
        ("température décanteur", ("temperature", "settler", "inside")),
        ("clear juice to evaporator flow", ("flow", "clear_juice_tank", "out")),
        ("jugo a clarificador flujo", ("flow", "settler", "in")),
        ("Milk of lime flow", ("lime_flow", "liming_tank", "in")),
        ("lechada de cal caudal", ("lime_flow", "liming_tank", "in")),
        ("agua de imbibición", ("imbibition_flow", "mill", "")),
        ("MOLIENDA", ("cane_rate", "mill", "")),
        ("pre-evap brix", ("brix", "first_evaporator", "out")),
        ("temp mixed juice to primary heater", ("temperature", "mixed_juice", "")),
        ("juice temp to 1st effect", ("temperature", "clear_juice_heater", "out")),
        ("primary heater inlet temp", ("temperature", "mixed_juice", "")),
    ],
)
def test_names_in_four_languages_name_their_point(name, point):
    assert best_of(name) == point


@pytest.mark.parametrize(
    "name",
    [
        "Boiler steam pressure", "2nd effect temp", "Syrup brix", "milk of lime tank level",
        "mixed juice tank level", "Vacuum pan 3 temp", "mud tank level", "Nivel tanque meladura",
        "Effect III temp", "Température 3e effet", "steam pressure primary heater",
        "condensate conductivity", "niveau bac sirop",
    ],
)  # fmt: skip
def test_what_stands_elsewhere_in_the_factory_names_no_point(name):
    parts = parts_of(name)
    assert max(said_of(parts, point) for point in POINTS) < 2.0


def test_joined_cut_and_misspelt_words_are_read():
    assert tokens_of("MJFlow") == ["mj", "flow"]
    assert tokens_of("CJpH") == ["cj", "ph"]
    assert tokens_of("Débit N°2") == ["debit", "n", "2"]
    assert folded("Caña") == "cana"
    assert [piece for piece, _ in parted("tempjugoclaro")] == ["temp", "jugo", "claro"]
    assert known("clarfier") == known("clarifier")
    assert known("temperat") == known("temperature")
    assert known("xyzzyq") == ()


def test_one_wrong_letter_does_not_turn_a_side_round():
    # "interior" is one letter away from "inferior", which is the bottom.
    assert "bottom" not in known("interior")
    assert known("setpoint") == ("r_set_point",)
    assert known("setpoimt") == ()


def test_an_unknown_code_before_instrument_letters_is_not_taken_to_pieces():
    assert parts_of("QJP_TT_201").readings == (frozenset(),)
    assert any("clarifier" in reading for reading in parts_of("DEC_TT_304").readings)


def test_a_letter_by_itself_means_something_beside_a_known_word_only():
    assert "q_level" not in parts_of("N0012").readings[0]
    assert "q_temp" in parts_of("JugoClaro_T").readings[0]


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("TIC201.SP", "r_set_point"), ("pH jugo claro consigna", "r_set_point"),
        ("Consigne pH jus chaulé", "r_set_point"), ("FIC-101.OUT", "r_output"),
        ("LIC401_OP", "r_output"), ("Válvula jugo claro", "r_output"),
        ("Cane total", "r_total"), ("Caña acumulada", "r_total"), ("Mill 1 speed", "r_speed"),
        ("Corriente bomba jugo mixto", "r_current"),
    ],
)  # fmt: skip
def test_words_tell_what_is_no_measurement(name, role):
    assert role in parts_of(name).roles


def test_instrument_letters_need_a_number_behind_them():
    # ISA-5.1, first letters: F flow, T temperature, L level, A analysis, P pressure.
    assert parts_of("XX-FIC-101A").letters == "fic"
    assert parts_of("XX-FIC-101A").area == "xx"
    assert parts_of("flit").letters == ""
    for letter, quantity in (
        ("F", "flow"), ("T", "temperature"), ("L", "level"), ("A", "ph"), ("P", "steam_pressure"),
    ):  # fmt: skip
        assert quantity in quantities_of(parts_of(f"{letter}I77").letters)


@pytest.mark.parametrize(
    ("letters", "what"),
    [
        # ISA-5.1: V valve, Z position, Q integrates, D difference, S switch or speed, I current.
        ("fv", "a valve"), ("zi", "a position"), ("fqi", "a sum"), ("pdi", "a difference"),
        ("lsh", "a switch or an alarm"), ("sic", "a speed"), ("ii", "a current"),
        ("fic", ""), ("tit", ""), ("ai", ""),
    ],
)  # fmt: skip
def test_isa_letters_tell_what_is_no_measurement(letters, what):
    assert is_letters(letters)
    assert no_measurement(letters) == what


def test_a_word_of_the_trade_is_no_instrument():
    # "EV" would be a voltage by its letters; before a number it is the evaporator.
    assert parts_of("Ev1Temp").letters == ""
    assert best_of("Ev1Temp") == ("temperature", "first_evaporator", "inside")
