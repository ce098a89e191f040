"""Every kind of layout is found by what stands in the columns, whatever they are called."""

import random

import pytest
from small_books import (
    JUICES,
    LEVELS,
    book_rows,
    long_rows,
    looked_at,
    moments,
    near,
    pair_rows,
    put,
    put_book,
    wide_rows,
)

TAGS = set(LEVELS)


@pytest.mark.parametrize(
    "heads",
    [
        ("time", "tag", "value"),
        ("Fecha y hora", "Punto", "Lectura"),
        ("Data/hora", "Ponto", "Leitura"),
        ("Horodatage", "Repère", "Mesure"),
        ("a", "b", "c"),
    ],
)
def test_one_reading_a_row_under_headings_of_any_language(tmp_path, heads):
    found = looked_at(put(tmp_path / "x.csv", long_rows(heads)))
    assert found.keys == {
        "time_column": heads[0],
        "shape": "long",
        "value_column": heads[2],
        "tag_column": heads[1],
    }
    assert found.names == TAGS


@pytest.mark.parametrize("seed", range(6))
def test_columns_in_any_order(tmp_path, seed):
    rows = long_rows(("when", "what", "how much", "how"), more=["Good", "Good", "Bad"])
    order = list(range(4))
    random.Random(seed).shuffle(order)
    found = looked_at(put(tmp_path / "x.csv", [[row[k] for k in order] for row in rows]))
    assert (found.keys["time_column"], found.keys["value_column"]) == ("when", "how much")
    assert found.keys["tag_column"] == "what"
    assert found.names == TAGS


@pytest.mark.parametrize("heads", [("time", *LEVELS), ("Hora", *LEVELS), ("x", *LEVELS)])
def test_one_column_a_tag(tmp_path, heads):
    found = looked_at(put(tmp_path / "x.csv", wide_rows(heads)))
    assert found.keys == {"time_column": heads[0], "shape": "wide"}
    assert found.names == TAGS


def test_times_and_values_side_by_side(tmp_path):
    found = looked_at(put(tmp_path / "x.csv", pair_rows()))
    assert found.keys == {"shape": "pairs"}
    assert found.names == TAGS


def test_date_and_time_apart(tmp_path):
    rows = [[row[0][:10], row[0][11:], *row[1:]] for row in wide_rows()[1:]]
    found = looked_at(put(tmp_path / "x.csv", [["Fecha", "Hora", *LEVELS], *rows]))
    assert (found.keys["date_column"], found.keys["time_column"]) == ("Fecha", "Hora")
    assert found.names == TAGS


@pytest.mark.parametrize(
    "order", [(0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)]
)
def test_three_lines_of_headings_in_any_order(tmp_path, order):
    units = ["", "m3/h", "pH", "degC"]
    words = ["", "mixed juice flow", "pH of the limed juice", "temperature in the settler"]
    heads = [["time", *LEVELS], units, words]
    rows = [heads[k] for k in order] + wide_rows()[1:]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert found.names == TAGS
    if order != (2, 1, 0):  # too far above the tags, they may be a title
        assert "limed juice" in found.words["LM-AT-212"]


def test_a_book_with_a_column_an_analysis(tmp_path):
    found = looked_at(put(tmp_path / "x.csv", book_rows()))
    assert found.keys["shape"] == "wide"
    assert found.keys["tag_columns"] == ["Sample"]
    assert found.names == {f"{juice} {x}" for juice in JUICES for x in ("pH", "Brix", "RS")}
    assert found.proposals[0].by_hand


def test_a_book_with_a_row_an_analysis_under_foreign_words(tmp_path):
    """Analyses (pH, Brix) look like units, and most of them lie alike in all juices."""
    rows = [["Fecha", "Hora", "Punto", "Ensayo", "Resultado", "Unidad"]]
    rng = random.Random(4)
    for at in moments(40, 240.0):
        for punto, ph in (("Jugo mezclado", 5.4), ("Jugo encalado", 7.6), ("Jugo claro", 6.9)):
            day = [f"{at:%Y-%m-%d}", f"{at:%H:%M}", punto]
            rows += [
                [*day, "pH", near(rng, ph), ""],
                [*day, "Brix", near(rng, 15.0), "%"],
                [*day, "AR", near(rng, 3.0), "%"],
            ]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert found.keys["tag_columns"] == ["Punto", "Ensayo"]
    assert found.keys["unit_column"] == "Unidad"
    assert len(found.names) == 9


def test_a_book_of_one_analysis_is_named_by_juice_and_heading(tmp_path):
    rows = [row[:4] for row in book_rows()]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert found.keys["shape"] == "wide"
    assert found.names == {f"{juice} pH" for juice in JUICES}


def test_values_under_a_heading_that_says_nothing_are_named_by_rows_alone(tmp_path):
    rows = [row[:4] for row in book_rows(("Date", "Time", "Sample", "Result"))]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert found.keys["shape"] == "long"
    assert found.names == set(JUICES)


def test_tags_with_an_area_before_them_are_no_book_of_the_laboratory(tmp_path):
    """CJ and LJ are abbreviations of juices, too."""
    levels = {"MJ-FT-101": 300.0, "LJ-AT-212": 7.6, "CJ-TT-330": 97.0}
    found = looked_at(put(tmp_path / "x.csv", long_rows(levels=levels)))
    assert found.names == set(levels)
    assert not found.proposals[0].by_hand


def test_composites_beside_grabs_get_names_of_their_own(tmp_path):
    grabs = [[*row[:3], "grab", row[5]] for row in book_rows()[1:]]
    day = book_rows(count=8, every_h=24.0, seed=2)[1:]
    rows = [["Date", "Time", "Sample", "Kind", "RS"], *grabs]
    rows += [[row[0], "00:00", row[2], "composite 24 h", row[5]] for row in day]
    found = looked_at(put(tmp_path / "x.csv", rows))
    assert found.keys["tag_columns"] == ["Sample", "Kind"]
    assert "Clear juice composite 24 h RS" in found.names


def test_a_sheet_a_tag(tmp_path):
    sheets = {
        tag: [["time", "value"], *([r[0], r[k]] for r in wide_rows()[1:])]
        for k, tag in enumerate(LEVELS, start=1)
    }
    found = looked_at(put_book(tmp_path / "x.xlsx", sheets))
    assert [p.one for p in found.proposals] == [True, True, True]


def test_a_sheet_a_juice(tmp_path):
    sheets = {}
    for juice in JUICES:
        rows = [[r[0], r[1], *r[3:]] for r in book_rows()[1:] if r[2] == juice]
        sheets[juice] = [["Date", "Time", "pH", "Brix", "RS"], *rows]
    found = looked_at(put_book(tmp_path / "x.xlsx", sheets))
    assert found.keys["tag_columns"] == ["{sheet}"]
    assert "Clear juice Brix" in found.names
    assert found.sheet_of("Clear juice Brix") == "Clear juice"


def test_sheets_of_months_hold_the_same_series(tmp_path):
    rows = wide_rows(count=20)
    found = looked_at(put_book(tmp_path / "x.xlsx", {"Oct 2025": rows, "Nov 2025": rows}))
    assert "tag_columns" not in found.keys
    assert found.names == TAGS


@pytest.mark.parametrize("heading", ["*", "^.*$"])
def test_headings_that_mean_all_columns_elsewhere(tmp_path, heading):
    path = put(tmp_path / "x.csv", long_rows(("time", heading, "value")))
    found = looked_at(path)
    assert found.names == TAGS
    rows = wide_rows(("time", heading, "LM-AT-212", "ST-TT-330"))
    assert looked_at(put(path, rows)).names == {heading, "LM-AT-212", "ST-TT-330"}
