"""The command `describe`: answers typed, answers at a terminal, and nothing overwritten."""

import os
import pty
import sys
import tomllib

import pytest
from small_books import LEVELS, long_rows, put, wide_rows

from pipeline.cli import describing
from pipeline.cli.app import run
from pipeline.intake import Question
from pipeline.mill import load_mill

QUESTION = Question("k", "x.csv", "Which?", (("k = 1", "one"), ("k = 2", "two")), "k = 1")


@pytest.fixture
def export(tmp_path):
    """Days and months that may be the other way round."""
    return put(tmp_path / "x.csv", long_rows(pattern="%d/%m/%Y %H:%M"))


def drafted(export, tmp_path, *more, zone="Africa/Harare"):
    out = tmp_path / "mill.toml"
    code = run(["describe", str(export), "--out", str(out), "--zone", zone, *more])
    layouts = tomllib.loads(out.read_text("utf-8"))["exports"]["layout"] if code == 0 else []
    return code, layouts, out


def test_unattended_the_likeliest_answer_is_taken_and_marked(export, tmp_path, capsys):
    code, (layout,), out = drafted(export, tmp_path)
    assert code == 0
    assert layout["time_format"] == "%d/%m/%Y %H:%M"
    assert "CONFIRM: asked" in out.read_text("utf-8")
    assert "1 question is open" in capsys.readouterr().out.replace("\n", " ")


@pytest.mark.parametrize(
    "typed",
    [
        ("--time-format", "%m/%d/%Y %H:%M"),
        ("--answer", "time_format=%m/%d/%Y %H:%M"),
        ("--answer", " time_format = %m/%d/%Y %H:%M "),
    ],
)
def test_a_typed_answer_is_taken_and_nothing_is_asked(export, tmp_path, typed):
    code, (layout,), out = drafted(export, tmp_path, *typed)
    assert code == 0
    assert layout["time_format"] == "%m/%d/%Y %H:%M"
    assert "CONFIRM time_format" not in out.read_text("utf-8")


def test_a_typed_mark_of_decimals(tmp_path):
    rows = [["time", "FT-1"], *([r[0], f"1.{k:03d}"] for k, r in enumerate(wide_rows()[1:], 100))]
    path = put(tmp_path / "x.csv", rows, ";")
    code, (layout,), out = drafted(path, tmp_path, "--decimal", ",", "--answer", "thousands=.")
    assert code == 0
    assert (layout["decimal"], layout["thousands"]) == (",", ".")
    assert load_mill(out)


def test_a_typed_column_of_times(tmp_path):
    rows = [["A", "B", *LEVELS]]
    rows += [[f"2025-10-05 {k % 24:02d}:0{k % 7}", *r] for k, r in enumerate(wide_rows()[1:])]
    code, (layout,), _ = drafted(put(tmp_path / "x.csv", rows), tmp_path, "--time-column", "B")
    assert code == 0
    assert layout["time_column"] == "B"


@pytest.mark.parametrize(
    "typed",
    [
        ("--answer", "decimal"),
        ("--answer", "=x"),
        ("--answer", "no_such_key=1"),
        ("--answer", "heading_row=first"),
        ("--decimal", ";"),
        ("--decimal", ",", "--answer", "delimiter=,"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_before_anything_is_read(
    export, tmp_path, typed, capsys
):
    code, _, out = drafted(export, tmp_path, *typed)
    assert code == 2
    assert not out.exists()
    assert "Next:" in capsys.readouterr().err


@pytest.mark.parametrize("zone", ["Africa/Harar", "Mars"])
def test_a_zone_that_is_none(export, tmp_path, zone):
    assert drafted(export, tmp_path, zone=zone)[0] == 2


def test_a_price_is_kept_to_the_last_digit(export, tmp_path):
    """The worth of a tonne in some currencies has seven digits."""
    code, _, out = drafted(export, tmp_path, "--price", "2345678.5", "--currency", "cop")
    assert code == 0
    mill = tomllib.loads(out.read_text("utf-8"))["mill"]
    assert (mill["sucrose_price_per_t"], mill["currency"]) == (2345678.5, "COP")
    out.unlink()
    assert drafted(export, tmp_path, "--price", "inf")[0] == 2


@pytest.mark.parametrize(
    ("typed", "chosen"),
    [(["2"], 1), ([""], 0), (["3", "x", "2"], 1), (["9", "9", "9"], 0), (["0", " 1 "], 0), ([], 0)],
)
def test_an_answer_at_the_terminal(monkeypatch, typed, chosen):
    """Enter, three words that are no answer, and a closed terminal take the first."""
    lines = iter(typed)

    def line(_):
        try:
            return next(lines)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", line)
    assert describing._choose(QUESTION) == chosen


def test_a_person_at_a_terminal_is_asked(export, tmp_path, monkeypatch):
    """A terminal of its own: price, currency, the second answer, then Enter for the rest."""
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r+b", buffering=0) as terminal:
        os.write(ours, b"480\nZAR\n2\n" + 9 * b"\n")
        monkeypatch.setattr(sys, "stdin", os.fdopen(os.dup(terminal.fileno()), "r"))
        monkeypatch.setattr(describing.ERR, "_force_terminal", True)
        code, (layout,), out = drafted(export, tmp_path)
        mill = load_mill(out)
        sys.stdin.close()
    os.close(ours)
    assert code == 0
    assert (mill.price_per_t, mill.currency) == (480.0, "ZAR")
    assert layout["time_format"] == "%m/%d/%Y %H:%M"
    assert "CONFIRM time_format" not in out.read_text("utf-8")


def test_nobody_is_asked_who_does_not_want_to_be(export, tmp_path, monkeypatch):
    monkeypatch.setattr(describing.ERR, "_force_terminal", True)
    monkeypatch.setattr(sys, "stdin", type("T", (), {"isatty": lambda _: True})())
    assert drafted(export, tmp_path, "--no-ask")[0] == 0
