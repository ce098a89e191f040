"""Foreign text in a description: one line, and nothing that ends it."""

import tomllib

import pytest

from pipeline.intake import quoted, remark

EVIL = ('a\n[mill]\nname = "x', 'a"]\n', "a\r\u2028b\x00\u0085c\u202e", "\\", "é", "")


@pytest.mark.parametrize("text", EVIL)
def test_a_remark_is_one_line_of_a_comment(text):
    line = remark(f"# {text}")
    assert len(line.splitlines()) == 1
    assert tomllib.loads(line) == {}


@pytest.mark.parametrize("text", EVIL)
def test_a_string_holds_what_it_was_given(text):
    assert tomllib.loads(f"x = {quoted(text)}") == {"x": text}


def test_a_remark_has_an_end():
    assert len(remark("x" * 9999)) == 300
    assert remark("one two three", 8) == "one …"
