"""Columns of quality: found, read or asked about, in long and in wide tables."""

import polars as pl
import pytest
from corpus_mill import Mill

from pipeline.base.errors import DataError
from pipeline.exports import beside
from pipeline.exports.export import export_readings
from pipeline.exports.survey import survey_export
from pipeline.files import tables
from pipeline.lake.refused import Tally
from pipeline.mill.export_layout import ExportLayout


def read(tmp_path, text, layout=None, clock=None):
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    tally = Tally()
    given = ExportLayout(name="given", **layout) if layout else None
    frames = list(export_readings(path, given, clock or Mill(), tally))
    rows = pl.concat(frames).sort("tag", "ts_utc")
    return rows.select("tag", "value", "reason").rows(), tally


def long(heading, *words):
    lines = (f"2025-10-06 {k:02d}:00,LT.AI212,7.{k},{word}\n" for k, word in enumerate(words))
    return f"time,tag,value,{heading}\n" + "".join(lines)


def reasons(rows):
    return [why for *_, why in rows]


@pytest.mark.parametrize("heading", ["Calidad", "Zustand", "Meaning", "QC", "bad"])
def test_a_column_is_found_by_its_heading_or_by_what_is_in_it(tmp_path, heading):
    words = ("1", "0") if heading == "bad" else ("Bad", "Good")
    rows, _ = read(tmp_path, long(heading, *words))
    assert reasons(rows) == ["bad_quality", None]


def test_flags_under_a_heading_that_says_nothing_are_asked_about(tmp_path):
    with pytest.raises(DataError, match="good or bad"):
        read(tmp_path, long("manual", "0", "1", "0"))
    rows, _ = read(tmp_path, long("manual", "0", "1", "0"), {"ignore_columns": ["manual"]})
    assert reasons(rows) == [None] * 3
    rows, _ = read(tmp_path, long("manual", "0", "1", "0"), {"quality_column": ""})
    assert reasons(rows) == [None] * 3
    given = {"quality_column": "manual", "good_words": ["0"]}
    rows, _ = read(tmp_path, long("manual", "0", "1", "0"), given)
    assert reasons(rows) == [None, "bad_quality", None]


def test_remarks_are_no_qualities_unless_they_say_bad(tmp_path):
    rows, _ = read(tmp_path, long("Observaciones", "ok", "sin operador", "ok"))
    assert reasons(rows) == [None] * 3
    with pytest.raises(DataError, match="good or bad"):
        read(tmp_path, long("Observaciones", "ok", "sin operador", "malo"))


@pytest.mark.parametrize("heading", ["shift", "batch", "comment", "operator"])
def test_other_columns_are_left_alone(tmp_path, heading):
    rows, _ = read(tmp_path, long(heading, "1", "2", "3"))
    assert reasons(rows) == [None] * 3


@pytest.mark.parametrize(
    ("heading", "words", "asked"),
    [
        ("error", ("", "E"), True),
        ("error code", ("0", "17"), True),
        ("error", ("0.02", "0.1"), False),
    ],
)
def test_errors_are_flags_codes_or_measures(tmp_path, heading, words, asked):
    if asked:
        with pytest.raises(DataError, match="good or bad"):
            read(tmp_path, long(heading, *words))
    else:
        assert reasons(read(tmp_path, long(heading, *words))[0]) == [None, None]


def test_an_empty_cell_may_be_a_good_reading(tmp_path):
    with pytest.raises(DataError, match="good or bad"):
        read(tmp_path, long("quality", "", "Bad"))
    rows, _ = read(tmp_path, long("quality", "", "Bad"), {"good_words": [""]})
    assert reasons(rows) == [None, "bad_quality"]
    rows, _ = read(tmp_path, long("quality", "", ""))
    assert reasons(rows) == [None, None]


def test_the_worst_of_several_columns_counts(tmp_path):
    text = "time,tag,value,quality,questionable\n" + "".join(
        f"2025-10-06 {k:02d}:00,LT.AI212,7,{q},{f}\n"
        for k, (q, f) in enumerate((("Good", "0"), ("Good", "1"), ("Bad", "0"), ("Uncertain", "0")))
    )
    rows, _ = read(tmp_path, text)
    assert reasons(rows) == [None, "bad_quality", "bad_quality", "uncertain_quality"]


def test_a_word_further_down_than_the_first_rows_is_asked_about(tmp_path, monkeypatch):
    monkeypatch.setattr(tables, "TEXT_BLOCK", 200)
    words = ["Good"] * 20
    rows, _ = read(tmp_path, long("quality", *words))
    assert len(rows) == 20
    with pytest.raises(DataError) as caught:
        read(tmp_path, long("quality", *words[:-1], "Manual"))
    assert '"Manual" can be good or bad' in caught.value.what
    assert "LT.AI212 7.19" in caught.value.where
    # A column that is empty at first is judged by the rows further down.
    with pytest.raises(DataError, match="good or bad"):
        read(tmp_path, long("quality", *[""] * 19, "Bad"))


WIDE = "time,{a},{b},{c},{d}\n2025-10-06 10:00,{v}\n2025-10-06 11:00,{w}\n"


@pytest.mark.parametrize(
    ("headings", "rows"),
    [
        (("LT.AI212", "LT.AI212.quality", "SH.TI221", "SH.TI221.quality"),
         ("7,Good,90,Bad", "8,Bad,91,Good")),
        (("LT.AI212", "SH.TI221", "LT.AI212_Q", "SH.TI221_Q"), ("7,90,192,0", "8,91,0,192")),
        (("LT.AI212", "SH.TI221", "LT.AI212_Q", "SH.TI221_Q"), ("7,90,192,0", "8,91,24,216")),
        (("LT.AI212", "Qualidade", "SH.TI221", "Qualidade"), ("7,Boa,90,Ruim", "8,Ruim,91,Boa")),
        (("LT.AI212", "SH.TI221", "LT.AI212_bad", "SH.TI221_bad"), ("7,90,0,1", "8,91,1,0")),
        (("LT.AI212", "", "SH.TI221", ""), ("7,Good,90,Bad", "8,Bad,91,Good")),
        (("LT.AI212", "LT.AI212 [v]", "SH.TI221", "SH.TI221 [v]"),
         ("7,Good,90,Bad", "8,Bad,91,Good")),
    ],
)  # fmt: skip
def test_each_tag_of_a_wide_table_has_its_own(tmp_path, headings, rows):
    a, b, c, d = headings
    found, tally = read(tmp_path, WIDE.format(a=a, b=b, c=c, d=d, v=rows[0], w=rows[1]))
    assert found == [
        ("LT.AI212", 7.0, None),
        ("LT.AI212", 8.0, "bad_quality"),
        ("SH.TI221", 90.0, "bad_quality"),
        ("SH.TI221", 91.0, None),
    ]
    assert tally.rows == 4


def test_one_column_for_the_row_and_columns_that_could_be_anyones(tmp_path):
    one = "time,LT.AI212,SH.TI221,Status\n2025-10-06 10:00,7,90,Bad\n2025-10-06 11:00,8,91,Good\n"
    found, _ = read(tmp_path, one)
    assert reasons(found) == ["bad_quality", None, "bad_quality", None]
    some = "time,LT.AI212,Status,SH.TI221\n2025-10-06 10:00,7,Bad,90\n2025-10-06 11:00,8,Good,91\n"
    with pytest.raises(DataError) as caught:
        read(tmp_path, some)
    assert "quality_columns" in caught.value.next_step
    found, _ = read(tmp_path, some, {"shape": "wide", "quality_column": "Status"})
    assert reasons(found) == ["bad_quality", None, "bad_quality", None]
    own = some.replace("Status", "LT.AI212 st")
    found, _ = read(tmp_path, own, {"shape": "wide", "quality_columns": "{tag} st"})
    assert reasons(found) == ["bad_quality", None, None, None]
    with pytest.raises(DataError, match="quality_columns"):
        read(tmp_path, own, {"shape": "wide", "quality_columns": "{tag}.none"})


def test_a_digital_signal_of_a_wide_table_is_no_quality(tmp_path):
    text = "time,LT.AI212,PUMP.RUN\n2025-10-06 10:00,7,1\n2025-10-06 11:00,8,0\n"
    found, tally = read(tmp_path, text)
    assert reasons(found) == [None, None]
    assert tally.refused == {"tag_not_in_mill": 2}


def test_the_evidence_is_shown(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(long("Calidad", "192", "0", "192"))
    lines = survey_export(Mill(), path).lines
    assert "  quality in column Calidad: bytes of quality, 192 good (2 times), 0 bad (1 times)" in (
        lines
    )


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("time,tag,value,\n2025-10-06 10:00,LT.AI212,7,37\n2025-10-06 11:00,LT.AI212,7,4\n", True),
        ("time,tag,value,note\n2025-10-06 10:00,LT.AI212,7,37\n2025-10-06 11:00,LT.AI212,7,45\n",
         True),
        ("time,tag,value,shift\n2025-10-06 10:00,LT.AI212,7,1\n2025-10-06 11:00,LT.AI212,7,2\n",
         False),
        ("time,tag,value,note\n2025-10-06 10:00,LT.AI212,7.1,37\n2025-10-06 11:00,LT.AI212,7.2,5\n",
         False),
        ("time,LT.AI212,CT.LI231\n2025-10-06 10:00,7,37\n2025-10-06 11:00,8,45\n", False),
    ],
)  # fmt: skip
def test_a_decimal_comma_between_commas_is_asked_about(tmp_path, text, asked):
    if not asked:
        assert read(tmp_path, text)[0]
        return
    with pytest.raises(DataError) as caught:
        read(tmp_path, text)
    assert '"7,37" can be one number' in caught.value.what
    rows, _ = read(tmp_path, text, {"shape": "long", "delimiter": ","})
    assert [value for _, value, _ in rows] == [7.0, 7.0]


def test_the_rows_after_the_first_can_be_read_more_than_once(tmp_path, monkeypatch):
    monkeypatch.setattr(tables, "TEXT_BLOCK", 200)
    path = tmp_path / "a.csv"
    path.write_text(long("quality", *["Good"] * 20))
    with tables.export_tables(path, None) as found:
        rest = beside._AfterFirst(next(found))
        assert [f.height for f in rest] == [f.height for f in rest] != []
