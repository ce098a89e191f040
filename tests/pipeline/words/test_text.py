"""Exported text is made printable before it is escaped."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.words.text import LONGEST, clean


def test_controls_overrides_and_surrogates_are_replaced():
    assert clean("a\x00b\x07c") == "a\ufffdb\ufffdc"
    assert clean("\u202egnp.exe") == "\ufffdgnp.exe"
    assert clean("x\ud800y") == "x\ufffdy"
    assert clean("two\nlines") == "two lines"


def test_right_to_left_letters_stay():
    assert clean("درجة حرارة") == "درجة حرارة"


def test_long_text_is_cut_and_the_cut_is_counted():
    assert clean("T" * 5000) == "T" * LONGEST + f"… ({5000 - LONGEST} more characters)"


def test_nothing_is_empty():
    assert clean(None) == ""


@given(st.text(st.characters(), max_size=300))
def test_result_can_always_be_written_as_utf8(text):
    assert "\x00" not in clean(text)
    clean(text).encode("utf-8")
