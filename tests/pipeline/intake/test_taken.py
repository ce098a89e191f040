"""What a file leaves open is asked; what was typed holds where the file has such a column."""

from pathlib import Path

import pytest
from small_books import (
    JUICES,
    LEVELS,
    book_rows,
    long_rows,
    looked_at,
    put,
    put_book,
    text_of,
    wide_rows,
)

from pipeline.base import Answer, DataError
from pipeline.intake import Answers, parsed, read_all, take_all
from pipeline.intake.asking import by_number
from pipeline.intake.question import Question
from pipeline.intake.taken import Taken, settled, take, told


def read(path, zone="UTC", choose=None, **given):
    """A file looked at and read: what was taken, and its readings; None where that failed."""
    answers = Answers(zone, choose)
    (found,) = take_all([path], given, answers)
    reads = list(read_all([found], answers, {}))
    return found, reads[0] if reads else None


def open_dates(path):
    """Days and months that may be the other way round: 6 July or 7 June, and so on."""
    rows = long_rows(pattern="%d/%m/%Y %H:%M")
    return put(path, rows)


@pytest.mark.parametrize(
    ("zone", "taken"), [("America/Chicago", "%m/%d/%Y %H:%M"), ("Africa/Harare", "%d/%m/%Y %H:%M")]
)
def test_the_order_of_day_and_month_is_that_of_the_place(tmp_path, zone, taken):
    found, _ = read(open_dates(tmp_path / "x.csv"), zone)
    (question,) = [q for q in found.questions if q.key == "time_format"]
    assert question.answer == f'time_format = "{taken}"'
    assert question.given is False
    assert len(question.answers) == 2


def test_it_is_that_of_another_file_that_leaves_nothing_open(tmp_path):
    put(tmp_path / "a.csv", long_rows(pattern="%d/%m/%Y %H:%M", count=2000))
    open_dates(tmp_path / "b.csv")
    answers = Answers("America/Chicago")
    found = take_all([tmp_path / "a.csv", tmp_path / "b.csv"], {}, answers)
    list(read_all(found, answers, {}))
    assert found[1].keys["time_format"].startswith("%d/%m")


def test_a_decimal_mark_that_may_part_thousands(tmp_path):
    rows = [["time", "FT-1"], *([r[0], f"1.{k:03d}"] for k, r in enumerate(wide_rows()[1:], 100))]
    found, _ = read(put(tmp_path / "x.csv", rows, ";"))
    (question,) = found.questions
    assert question.key == "decimal"
    assert {typed for typed, _ in question.answers} == {
        'decimal = "."', 'decimal = ",", thousands = "."'
    }  # fmt: skip


def test_words_of_quality(tmp_path):
    rows = long_rows(("time", "tag", "value", "status"), more=["Bon", "Bon", "Panne"])
    found, done = read(put(tmp_path / "x.csv", rows))
    assert done is not None
    assert [q.key for q in found.questions] == ["good_words bad_words"]


def test_two_columns_of_times(tmp_path):
    rows = [["A", "B", *LEVELS]]
    rows += [[f"2025-10-05 {k % 24:02d}:0{k % 7}", *r] for k, r in enumerate(wide_rows()[1:])]
    path = put(tmp_path / "x.csv", rows)
    (question,) = looked_at(path).questions
    assert (question.key, question.answer) == ("time_column", 'time_column = "A"')
    typed = looked_at(path, time_column="B")
    assert (typed.questions, typed.keys["time_column"]) == ([], "B")


def test_sheets_that_are_hidden(tmp_path):
    path = put_book(tmp_path / "x.xlsx", {"a": [[""]], "b": wide_rows()}, hidden=["b"])
    found = looked_at(path)
    assert [q.key for q in found.questions] == ["sheets"]
    assert found.names == set(LEVELS)


def test_an_encoding(tmp_path):
    path = tmp_path / "x.csv"
    path.write_bytes(text_of(wide_rows(("Día", "Presión", "b", "c"))).encode("cp1252"))
    assert "Presión" in looked_at(path).names
    rows = wide_rows(("Dia", "a", "b", "c"), count=30_000)
    rows[-1][1] = "válvula"
    path.write_bytes(text_of(rows).encode("cp1252"))
    found, done = read(path)
    assert done is not None
    assert [q.key for q in found.questions] == ["encoding"]


def test_a_person_is_asked_once_for_files_alike(tmp_path):
    asked = []

    def choose(question):
        asked.append(question)
        return 1

    answers = Answers("UTC", choose)
    paths = [open_dates(tmp_path / "a.csv"), open_dates(tmp_path / "b.csv")]
    found = take_all(paths, {}, answers)
    list(read_all(found, answers, {}))
    assert len(asked) == 1
    assert all(t.keys["time_format"] == "%m/%d/%Y %H:%M" for t in found)
    assert all(q.given for t in found for q in t.questions)


def test_a_question_as_it_is_put_at_a_terminal():
    put_so = by_number(
        Question("k", "a\nb.csv", "Which?", (("k = 1", "one"), ("k = 2", "two")), "")
    )
    assert put_so.splitlines()[1:] == ["  1  one   (k = 1)", "  2  two   (k = 2)"]
    assert "Which?" in put_so.splitlines()[0]


def test_what_was_typed_holds_only_where_the_file_has_such_a_column(tmp_path):
    found, done = read(put(tmp_path / "x.csv", wide_rows()), time_column="Moment", decimal=".")
    assert done is not None
    assert found.absent == {"time_column": "Moment"}
    assert found.keys["time_column"] == "time"
    assert found.given == {"decimal": "."}


def test_columns_that_were_typed_name_the_series(tmp_path):
    rows = [[*row[:3], f"{k % 2}", *row[3:]] for k, row in enumerate(book_rows()[1:])]
    path = put(tmp_path / "x.csv", [["Date", "Time", "Sample", "Line", "pH", "Brix", "RS"], *rows])
    assert looked_at(path).names == {
        f"{j} {x}" for j in JUICES for x in ("Line", "pH", "Brix", "RS")
    }
    typed, done = read(path, tag_columns=["Sample", "Line"])
    assert "Clear juice 0 pH" in typed.names
    assert done is not None
    assert set(done.parts[0]["tag"]) <= typed.names


def test_a_column_of_values_that_was_typed(tmp_path):
    path = put(tmp_path / "x.csv", book_rows())
    found, done = read(path, value_column="Brix", tag_column="Sample", shape="long")
    assert found.names == set(JUICES)
    assert done is not None
    assert done.parts[0].height == 120


def test_answers_that_do_not_go_together(tmp_path):
    found = looked_at(put(tmp_path / "x.csv", wide_rows()), delimiter=",", decimal=",")
    assert found.error is not None
    assert "do not go together" in found.error.what


def test_a_question_whose_answer_does_not_help_is_asked_once():
    asked = []

    class Always:
        def settle(self, path, error):
            asked.append(path)
            return Question("k", path.name, "", (), ""), error.answers[0]

    def work():
        raise DataError("Still open.", "x", "", [Answer({"decimal": ","}, "")])

    taken = Taken(Path("x.csv"))
    assert settled(taken, Always(), work) is False
    assert len(asked) == 1
    assert taken.error is not None


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("good_words", "ok, bien", ["ok", "bien"]),
        ("heading_row", "4", 4),
        ("heading_row", "four", "four"),
        ("decimal", ",", ","),
        ("tag_columns", "Sample,Test", ["Sample", "Test"]),
    ],
)
def test_values_as_typed(key, text, value):
    assert parsed(key, text) == value


def test_keys_as_a_description_writes_them():
    assert (
        told({"decimal": ",", "good_words": ("a", "b")}) == 'decimal = ",", good_words = ["a", "b"]'
    )


def test_a_file_without_a_name_of_a_series_in_some_rows(tmp_path):
    rows = long_rows()
    rows[5][1] = "  "
    assert take(put(tmp_path / "x.csv", rows), {}, Answers("UTC")).names == set(LEVELS)
