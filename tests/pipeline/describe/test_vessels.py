"""Tables of vessels as mills keep them: which vessel is meant, and what is left."""

import polars as pl

from pipeline.describe.lists import read_sizes, vessel_named
from pipeline.intake import Table


def _table(*rows):
    frame = pl.DataFrame(rows, schema=["Equipamento", "Volume (m3)", "Área (m2)"], orient="row")
    return Table("tanques", frame)


def test_vessels_are_known_by_the_words_of_the_trade():
    # Names of these vessels in Portuguese, Spanish, French and English: common practice.
    for name in ("Tanque de caleação", "Tanque alcalizado", "Bac de chaulage", "Liming tank"):
        assert vessel_named(name) == "liming_tank", name
    assert vessel_named("Decantador") == "settler"
    assert vessel_named("Tanque de caldo clarificado") == "clear_juice_tank"
    assert vessel_named("Tanque de xarope") is None


def test_a_vessel_of_another_station_is_told_and_not_dropped():
    sizes = read_sizes(_table(("Decantador", "430", "125"), ("Tanque de xarope", "60", "")))
    assert sizes.of["settler"].volume_m3 == 430.0
    assert sizes.of["settler"].area_m2 == 125.0
    assert sizes.others == ("Tanque de xarope",)
