"""Help: each paragraph broken once, where the terminal ends."""

from itertools import pairwise

import pytest

from pipeline.cli import app
from pipeline.cli.line import in_whole_paragraphs

#: Width of the terminal [characters].
WIDTH = 80


def paragraphs(text):
    """What stands before the first box, paragraph by paragraph."""
    return [part.split("\n") for part in text.partition("╭")[0].strip().split("\n\n")]


@pytest.mark.parametrize("command", ["", *(str(name) for name in app.app if name[0] != "-")])
def test_a_line_of_help_ends_only_where_no_further_word_has_room(command, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    assert app.run([command, "--help"] if command else ["--help"]) == 0
    told = paragraphs(capsys.readouterr().out)
    assert len(told) > 1
    for lines in told[1:]:
        for line, after in pairwise(lines):
            assert len(line.rstrip()) + 1 + len(after.split()[0]) > WIDTH, line


def test_a_docstring_keeps_its_paragraphs_and_parameters():
    given = """Do it
    all.

    A second
    paragraph.

    Parameters
    ----------
    out
        Where it
        goes.
    """
    assert in_whole_paragraphs(given) == (
        "Do it\nall.".replace("\n", " ")
        + "\n\nA second paragraph.\n\nParameters\n----------\nout\n    Where it goes."
    )
    assert in_whole_paragraphs(None) is None
