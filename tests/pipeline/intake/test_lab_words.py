"""Words of laboratories' books in four languages (common practice)."""

import pytest

from pipeline.intake.lab_words import (
    CAKE,
    CLEAR,
    FILTRATE,
    LIMED,
    MIXED,
    MUD,
    SYRUP,
    TANK,
    analyte_of,
    basis_of,
    point_of,
    says_composite,
    spaced,
)


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("Mixed juice", MIXED), ("Jugo mezclado", MIXED), ("Caldo misto", MIXED),
        ("Jus mélangé", MIXED), ("MJ", MIXED), ("Limed juice", LIMED), ("Jugo encalado", LIMED),
        ("Caldo caleado", LIMED), ("Jus chaulé", LIMED), ("Clear juice", CLEAR),
        ("Jugo clarificado", CLEAR), ("Caldo decantado", CLEAR), ("Jus clair", CLEAR),
        ("Filtered juice", FILTRATE), ("Caldo filtrado", FILTRATE), ("Cachaza", CAKE),
        ("Lodo", MUD), ("Xarope", SYRUP), ("Meladura", SYRUP), ("Jugo a evaporadores", TANK),
    ],
)  # fmt: skip
def test_sampling_points(text, point):
    found = point_of(text)
    assert found is not None
    assert found[0] == point


@pytest.mark.parametrize("text", ["Analyst", "Turno", "Bagasse", "", "Maria", "boiler feed"])
def test_what_is_no_sampling_point(text):
    assert point_of(text) is None


@pytest.mark.parametrize(
    ("text", "analyte"),
    [
        ("pH", "ph"), ("pH 20 C", "ph"), ("Brix", "brix"), ("°Bx", "brix"), ("Pol %", "pol"),
        ("Pureza", "purity"), ("RS % brix", "rs"), ("Azúcares reductores", "rs"),
        ("AR", "rs"), ("Sucres réducteurs", "rs"), ("Ácido láctico", "lactic"),
        ("Turbidez", "turbidity"), ("P2O5", "phosphate"), ("K2O", "potassium"),
        ("Cor ICUMSA", "colour"), ("Dextrana", "dextran"), ("Cloruros", "chloride"),
    ],
)  # fmt: skip
def test_analyses(text, analyte):
    found = analyte_of(text)
    assert found is not None
    assert found[0] == analyte


@pytest.mark.parametrize("text", ["ART", "Azúcares totales", "Total sugars", "Temperature", ""])
def test_another_analysis_is_none_of_these(text):
    assert analyte_of(text) is None


@pytest.mark.parametrize(
    ("text", "basis"),
    [
        ("RS", "juice"), ("RS % brix", "solids"), ("AR % sólidos", "solids"), ("RS on pol", "pol"),
        ("glucose ratio", "pol"), ("RS % juice", "juice"),
    ],
)  # fmt: skip
def test_what_reducing_sugars_are_a_share_of(text, basis):
    assert basis_of(text) == basis


@pytest.mark.parametrize(
    "text", ["Composite", "compuesto 24h", "média diária", "jus moyen", "24 h"]
)
def test_composites(text):
    assert says_composite(text)


@pytest.mark.parametrize("text", ["grab", "pH", "Mixed juice", "spot"])
def test_grabs(text):
    assert not says_composite(text)


def test_words_of_a_name():
    assert spaced("ClearJuice_pH%") == "clear juice ph pct"
    assert spaced("JugoClaro-P2O5") == "jugo claro p2o5"
