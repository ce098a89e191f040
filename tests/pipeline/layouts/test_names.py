"""Where tags stand: in cells, headings, titles, names; and series told by several columns."""

from __future__ import annotations

import pytest
from small_exports import Mill, half_hours, read, wide

from pipeline.base import DataError
from pipeline.mill import UnitChange

STAMPS = half_hours("%Y-%m-%d %H:%M")


def one_tag(heading="value"):
    return wide(STAMPS, tags=(heading,))


@pytest.mark.parametrize(
    ("name", "above"),
    [
        ("MJ.FI101.csv", ""), ("mj_fi101_2025-03.csv", ""), ("trend MJ.FI101 (1).csv", ""),
        ("a.csv", "Tag: MJ.FI101\n"), ("a.csv", "Tag,MJ.FI101\nUnit,m3/h\n"),
        ("a.csv", "MJ.FI101\n\n"), ("a.csv", "Punto = MJ.FI101\n"),
    ],
)  # fmt: skip
def test_one_tag_a_file(tmp_path, name, above):
    found, tally = read(tmp_path / name, above + one_tag())
    assert {tag for _, tag in found} == {"MJ.FI101"}
    assert len(found) == 6
    assert any("All readings are of MJ.FI101" in note for note in tally.notes)


def test_one_tag_that_nobody_names_is_asked_about(tmp_path):
    with pytest.raises(DataError, match=r"(?s)can be of any tag.*tag in the"):
        read(tmp_path / "a.csv", one_tag("Valor"))
    with pytest.raises(DataError, match=r'can be of "LT.AI212" or "MJ.FI101"'):
        read(tmp_path / "MJ.FI101.csv", "Tag: LT.AI212\n" + one_tag())
    found, _ = read(tmp_path / "a.csv", one_tag("Valor"), tag="LT.AI212", value_column="Valor")
    assert {tag for _, tag in found} == {"LT.AI212"}


def test_one_tag_that_is_not_the_mills_is_counted(tmp_path):
    _, tally = read(tmp_path / "a.csv", "Tag: XX.FI999\n" + one_tag())
    assert tally.refused == {"tag_not_in_mill": 6}
    assert tally.unknown_tags == {"XX.FI999"}


def test_tags_in_the_second_line_of_headings(tmp_path):
    body = wide(STAMPS).partition("\n")[2]
    for top in ("Time,Flow,pH\n,MJ.FI101,LT.AI212\n,m3/h,pH\n",
                "Time,Flow,pH\n,MJ.FI101,LT.AI212\n",
                ",MJ.FI101,LT.AI212\nTime,Flow,pH\n"):  # fmt: skip
        found, _ = read(tmp_path / "a.csv", top + body)
        assert {tag for _, tag in found} == {"MJ.FI101", "LT.AI212"}, top
        assert len(found) == 12
    with pytest.raises(DataError, match=r'can be "LT.AI212" or "SH.TI221"'):
        read(tmp_path / "a.csv", ",MJ.FI101,LT.AI212\nTime,F,p\n,MJ.FI101,SH.TI221\n" + body)


def test_tags_are_found_by_the_cells_of_their_column(tmp_path):
    rows = ["Ajankohta;Mitta;Lukema"] + [f"{s};LT.AI212;7,{k}1" for k, s in enumerate(STAMPS)]
    found, _ = read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert len(found) == 6
    assert found["2025-03-13 05:30", "LT.AI212"] == 7.11


def test_columns_that_name_a_series_together(tmp_path):
    mill = Mill(unit_changes=dict.fromkeys(("pH clear", "pH limed"), UnitChange()))
    rows = ["time,analyte,juice,value"]
    rows += [f"{s},pH,{juice},{v}" for s in STAMPS for juice, v in (("clear", 7.0), ("limed", 7.6))]
    text = "\n".join(rows) + "\n"
    found, _ = read(tmp_path / "a.csv", text, mill, tag_columns=["analyte", "juice"])
    assert found["2025-03-13 05:00", "pH limed"] == 7.6
    assert len(found) == 12
    turned = Mill(unit_changes=dict.fromkeys(("clear pH", "limed pH"), UnitChange()))
    rows = ["time,juice,pH"] + [",".join((s, j, v)) for s, _, j, v in
                                (row.split(",") for row in rows[1:])]  # fmt: skip
    found, tally = read(tmp_path / "a.csv", "\n".join(rows) + "\n", turned, shape="wide",
                        tag_columns=["juice"])  # fmt: skip
    assert found["2025-03-13 05:00", "limed pH"] == 7.6
    assert (len(found), tally.rows) == (12, 12)


def test_rows_above_the_headings_are_counted(tmp_path):
    text = wide(STAMPS)
    rows = text.splitlines()[1:]
    found, tally = read(tmp_path / "a.csv", "\n".join(rows) + "\n" + text)
    assert len(found) == 12
    assert tally.refused == {"above_headings": 12}
    assert tally.rows == 24
    assert [row.row for row in tally.refused_rows] == list(range(1, 7))
    assert any("above the headings" in note for note in tally.notes)
    period = "From,2025-03-13 00:00,To,2025-03-14 00:00\nRows,6\n"
    assert not read(tmp_path / "a.csv", period + text)[1].refused
