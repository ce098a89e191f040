"""Rows with more or fewer cells than the headings, and sheets that nobody sees."""

from __future__ import annotations

import io

import pytest
import xlsxwriter
from small_exports import half_hours, read, wide

from pipeline.base import DataError

STAMPS = half_hours("%Y-%m-%d %H:%M")
ROWS = wide(STAMPS, tags=("MJ.FI101", "LT.AI212", "SH.TI221")).splitlines()


def text(rows):
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_row_cut_short_is_refused(tmp_path, quote):
    rows = [f"{quote}{row.replace(',', quote + ',' + quote)}{quote}" for row in ROWS]
    rows[3] = rows[3].rsplit(",", 1)[0]
    found, tally = read(tmp_path / "a.csv", text(rows))
    assert len(found) == 15
    assert tally.refused == {"cells_too_few": 3}
    assert tally.rows == 18
    told, tally = read(tmp_path / "a.csv", text(rows), short_rows="empty")
    assert len(told) == 17
    assert tally.refused == {"empty_cell": 1}


def test_an_empty_last_cell_is_no_cut(tmp_path):
    rows = [*ROWS[:3], ROWS[3].rsplit(",", 1)[0] + ",", *ROWS[4:]]
    assert read(tmp_path / "a.csv", text(rows))[1].refused == {"empty_cell": 1}
    ended = [row + "," for row in ROWS[1:]]
    assert not read(tmp_path / "a.csv", text([ROWS[0], *ended]))[1].refused
    ended[4] += "7"
    found, tally = read(tmp_path / "a.csv", text([ROWS[0], *ended]))
    assert tally.refused == {"cells_too_many": 3}
    assert len(found) == 15


def test_decimal_commas_between_commas_are_never_cut(tmp_path):
    rows = ["time,tag,value", *(f"{s},LT.AI212,7,4{k}" for k, s in enumerate(STAMPS))]
    assert read(tmp_path / "a.csv", text(rows))[1].refused == {"cells_too_many": 6}
    rows[0] += ","
    with pytest.raises(DataError, match='"7,40" can be one number'):
        read(tmp_path / "a.csv", text(rows))
    found, _ = read(tmp_path / "a.csv", text(rows), unnamed_columns="ignore")
    assert set(found.values()) == {7.0}


def test_row_numbers_without_a_heading_are_no_question(tmp_path):
    rows = [f",{ROWS[0]}", *(f"{k},{row}" for k, row in enumerate(ROWS[1:]))]
    assert len(read(tmp_path / "a.csv", text(rows))[0]) == 18


def book(*sheets):
    out = io.BytesIO()
    workbook = xlsxwriter.Workbook(out, {"in_memory": True})
    for name, hidden in sheets:
        sheet = workbook.add_worksheet(name)
        for y, row in enumerate(ROWS):
            sheet.write_row(y, 0, row.split(","))
        if hidden:
            sheet.hide() if hidden == "hidden" else sheet.very_hidden()
        else:
            sheet.activate()
            sheet.set_first_sheet()
    workbook.close()
    return out.getvalue()


@pytest.mark.parametrize("how", ["hidden", "very hidden"])
def test_a_hidden_sheet_is_read_when_it_is_named(tmp_path, how):
    data = book(("Old", how), ("Data", False))
    _, tally = read(tmp_path / "a.xlsx", data)
    assert tally.rows == 18
    assert any('hidden sheet "Old" was not read' in note for note in tally.notes)
    assert read(tmp_path / "a.xlsx", data, sheets=["*"])[1].rows == 36
    assert read(tmp_path / "a.xlsx", data, sheets=["Old"])[1].rows == 18
