"""Of several lines of headings, that of the tags names the columns and the others describe them."""

import pytest

from pipeline.files import Head
from pipeline.intake.headings import TAG_LIKE, heading_lines, title_of

TAGS = ("MX-FT-101", "LM_AT_212", "st.tt.330")
WORDS = ("mixed juice flow", "limed juice pH", "settler temperature")


def head(names, *, below=(), above=()):
    return Head(("time", *names), ("time", *names), ("",) * 4, 0, 1, True, below=below, above=above)


@pytest.mark.parametrize("text", ["MX-FT-101", "FT101", "juiceFlow", "a.b", "12AB", "PV/1"])
def test_what_looks_like_a_tag(text):
    assert TAG_LIKE.fullmatch(text)


@pytest.mark.parametrize("text", ["flow", "Mixed juice 1", "x", "", "a" * 61 + "1", "pH"])
def test_what_does_not(text):
    assert not TAG_LIKE.fullmatch(text)


def test_tags_below_words_name_the_columns():
    found = heading_lines(head(WORDS, below=(("", *TAGS),)), list(WORDS))
    assert found == (list(TAGS), dict(zip(TAGS, WORDS, strict=True)))


def test_tags_above_words_do_so_too():
    found = heading_lines(head(WORDS, above=(("Station", "", "", ""), ("", *TAGS))), list(WORDS))
    assert found == (list(TAGS), dict(zip(TAGS, WORDS, strict=True)))


def test_headings_that_are_tags_stay_and_words_describe_them():
    names, words = heading_lines(head(TAGS, below=(("", *WORDS),)), list(TAGS))
    assert names == list(TAGS)
    assert words == dict(zip(TAGS, WORDS, strict=True))


@pytest.mark.parametrize(
    "line", [("", "m3/h", "pH", "degC"), ("", "MX-FT-101", "", ""), ("", "A-1", "A-1", "A-1")]
)
def test_units_gaps_and_tags_that_come_twice_name_nothing(line):
    names, _ = heading_lines(head(WORDS, below=(line,)), list(WORDS))
    assert names == list(WORDS)


def test_a_table_without_lines_of_headings():
    assert heading_lines(None, ["a", "b"]) == (["a", "b"], {})
    assert title_of(None, "a") == "a"
    assert title_of(head(TAGS), "elsewhere") == "elsewhere"
