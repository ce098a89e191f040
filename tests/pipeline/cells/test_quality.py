"""What a column of quality means: by its words, codes and heading, else asked about."""

import polars as pl
import pytest

from pipeline.base.errors import DataError
from pipeline.cells.quality import (
    UNKNOWN,
    byte_meaning,
    code_kind,
    column_judge,
    given_judge,
    looks_like_quality,
    may_be_flags,
    verdict,
)
from pipeline.cells.quality_words import heading_says, word_meaning


def meanings(column, *words):
    judge = column_judge("file", column, dict.fromkeys(words, 3))
    return [judge.meaning(word) for word in words]


@pytest.mark.parametrize(
    ("column", "good", "bad"),
    [
        ("quality", "Good", "Bad"),
        ("Calidad", "Buena", "Mala"),
        ("Qualidade", "Boa", "Ruim"),
        ("Qualité", "Bonne", "Mauvaise"),
        ("Qualität", "Gültig", "ungültig"),
        ("Estado", "Válido", "No válido"),
        ("quality", "192", "0"),
        ("quality", "216", "24"),
        ("quality", "192 (Good)", "24 (Bad)"),
        ("quality", "0", "2147483648"),
        ("quality", "0x00000000", "0x80340000"),
        ("quality", "Good, non-specific", "Bad, sensor failure"),
        ("bad", "0", "1"),
        ("IsValid", "True", "False"),
        ("questionable", "no", "yes"),
        ("good", "Y", "N"),
    ],
)
def test_a_column_that_shows_what_it_means_is_read(column, good, bad):
    assert meanings(column, good, bad) == ["good", "bad"]


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("status", ("0", "1")),
        ("quality", ("true", "false")),
        ("quality", ("0",)),
        ("quality", ("0", "64")),
        ("quality", ("0", "100")),
        ("quality", ("G", "B")),
        ("quality", ("", "Bad")),
        ("flag", ("", "*")),
        ("quality", ("Good", "Bad", "Manual")),
        ("quality", ("0", "200", "192")),
    ],
)
def test_a_column_that_may_mean_two_things_is_asked_about(column, words):
    with pytest.raises(DataError) as caught:
        column_judge("file", column, dict.fromkeys(words, 3), cell=lambda _: "row")
    assert "good or bad" in caught.value.what
    assert column in caught.value.where and "3 times" in caught.value.where
    assert "good_words" in caught.value.next_step and "bad_words" in caught.value.next_step


def test_bytes_follow_the_standard():
    """OPC Data Access 3.0, 6.8: quality QQSSSSLL; good 0xC0, local override 0xD8; sub-status."""
    good, uncertain = (192, 195, 216, 219), (64, 68, 80, 84, 88)
    assert {byte_meaning(code) for code in good} == {"good"}
    assert {byte_meaning(code) for code in uncertain} == {"uncertain"}
    assert {byte_meaning(code) for code in (0, 4, 8, 12, 16, 20, 24, 28)} == {"bad"}
    assert {byte_meaning(code) for code in (128, 100, 200, 255, 256, -1)} == {None}


def test_large_numbers_that_are_no_codes():
    """IEC 62541-4, 7.39: bits 12, 13, 28, 29 are reserved, information needs its kind."""
    for text in ("2147483648", "0x80340000", "0x40000400", "-2147483648", "0x808A0000"):
        assert code_kind([text]) == "status", text
    seconds = [str(1_741_836_600 + 3600 * k) for k in range(5)]
    for texts in (seconds, ["-0300"], ["-300", "0"], ["3221225472", "8"], ["1073741825"]):
        assert code_kind(texts) is None, texts
    assert not looks_like_quality(dict.fromkeys(seconds, 1))
    assert not looks_like_quality(dict.fromkeys(["192", "193", "194", "195"], 1))
    assert looks_like_quality({"192": 5, "0": 1})
    with pytest.raises(DataError):
        column_judge("file", "status", {"0": 3, "8": 1, "2147483648": 1})


def test_words_of_the_description_hold_whatever_they_mean_elsewhere():
    judge = given_judge([""], (), ())
    assert [judge.meaning(w) for w in ("", None, "Bad", "Good", "x")][:3] == ["good", "good", "bad"]
    judge = given_judge(["0"], ["5"], ["1"])
    assert [judge.meaning(w) for w in ("0", "1", "5", "7", "Good")] == [
        "good", "bad", "uncertain", None, None,
    ]  # fmt: skip
    judge = given_judge((), (), ["X"], good_given=False)
    assert [judge.meaning(w) for w in ("X", "Good", "", "7")] == ["bad", "good", None, None]


def test_a_word_that_comes_later_is_not_taken_for_bad():
    judge = column_judge("file", "quality", {"Good": 5})
    found = verdict(pl.Series(["Good", "Bad", "Manual", None, "Uncertain"]), judge).to_list()
    assert found == [None, "bad_quality", UNKNOWN, "bad_quality", "uncertain_quality"]
    judge = column_judge("file", "quality", {"Bad": 5})
    assert verdict(pl.Series([None, "Bad"], dtype=pl.String), judge).to_list() == [
        UNKNOWN, "bad_quality",
    ]  # fmt: skip


def test_headings_and_words_that_say_nothing_of_quality():
    for heading in ("value", "comment", "shift", "Tag", "unit", "good news", "not bad"):
        assert heading_says(heading) is None, heading
    for word in ("G", "B", "1", "", "*", "goodness", "not bad", "run"):
        assert word_meaning(word) is None, word
    assert not may_be_flags({"1": 3, "2": 2})
    assert not may_be_flags({"": 3, "-": 2})
    assert may_be_flags({"": 3, "*": 2})
