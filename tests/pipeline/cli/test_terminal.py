"""What a terminal shows: narrow, in a pipe, with one mill nearby, and how commands end."""

import io
import subprocess
import sys

import pytest

from pipeline.base import ConfigError
from pipeline.cli import app, tables, terminal
from pipeline.cli.nearby import only_mill
from pipeline.cli.tables import Column, show_table
from pipeline.cli.terminal import Screen

COLUMNS = (Column("Change"), Column("Saved", "right"))
ROWS = [("limed juice pH 0.1 higher\nall season", "2.1 t (0.9 to 3.3)"), ("tab\tin it", "none")]


def screen(monkeypatch, width: int, *, looked_at: bool) -> io.StringIO:
    """What is printed on a terminal so wide, or into a pipe."""
    said = io.StringIO()
    made = Screen(
        file=said, width=width, force_terminal=looked_at, color_system=None, soft_wrap=True,
        highlight=False,
    )  # fmt: skip
    for module in (terminal, tables):
        monkeypatch.setattr(module, "OUT", made)
    return said


def test_a_pipe_gets_one_line_a_row(monkeypatch):
    said = screen(monkeypatch, 40, looked_at=False)
    show_table(COLUMNS, ROWS, "A title")
    assert said.getvalue().splitlines() == [
        "Change\tSaved",
        "limed juice pH 0.1 higher all season\t2.1 t (0.9 to 3.3)",
        "tab in it\tnone",
    ]


def test_forty_columns_are_enough(monkeypatch):
    said = screen(monkeypatch, 40, looked_at=True)
    show_table(COLUMNS, ROWS, "A title")
    path = f"/{'long' * 12}"
    terminal.say(f"A long line that is broken between words, with a path: {path}")
    lines = said.getvalue().splitlines()
    assert "Change: limed juice pH 0.1 higher all" in [line.rstrip() for line in lines]
    assert "  Saved: 2.1 t (0.9 to 3.3)" in lines
    assert all(len(line) <= 40 for line in lines if line != path)
    assert not set("┃│━") & set(said.getvalue())
    assert path in lines  # whole, to be copied


def test_a_wide_terminal_gets_boxes(monkeypatch):
    said = screen(monkeypatch, 80, looked_at=True)
    show_table(COLUMNS, ROWS, "A title")
    assert "┃ Change" in said.getvalue() and "A title" in said.getvalue()


@pytest.mark.slow
def test_nobody_reading_on_is_no_fault(monkeypatch):
    with pytest.raises(BrokenPipeError):
        Screen(file=io.StringIO()).on_broken_pipe()
    done = subprocess.run(
        f"{sys.executable} -m pipeline.cli dictionary | head -1",
        shell=True, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


def test_the_only_description_nearby_is_meant(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    with pytest.raises(ConfigError, match=r"lostpol findings MILL\.toml"):
        only_mill("findings")
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "one.toml").write_text("[mill]\nname = 'x'\n", encoding="utf-8")
    assert str(only_mill("findings")) == "demo/one.toml"
    for name in ("two.toml", "three.toml"):
        (tmp_path / name).write_text("[mill]\n", encoding="utf-8")
    with pytest.raises(ConfigError, match=r"lostpol findings three\.toml"):
        only_mill("findings")


def test_a_day_typed_in_another_form_is_told_the_form(capsys):
    assert app.run(["backfill", "mill.toml", "--from", "1.11.2025"]) == 2
    assert "year-month-day: --from 2025-11-01" in capsys.readouterr().err


def test_a_shell_learns_the_commands(capsys):
    assert app.run(["completion", "bash"]) == 0
    assert "backfill" in capsys.readouterr().out


#: Ctrl-C while commands are loaded, and while one works.
LOADING = """
class Interrupted:
    def find_spec(self, name, *_):
        if name == "pipeline.cli.app":
            raise KeyboardInterrupt
from pipeline.cli.start import main
sys.meta_path.insert(0, Interrupted())
"""
WORKING = """
import os
from pipeline.cli import app
from pipeline.cli.start import main
app.app.command(lambda: os.kill(os.getpid(), signal.SIGINT) or time.sleep(30), name="wait")
"""


@pytest.mark.parametrize("when", [LOADING, WORKING], ids=["loading", "working"])
def test_ctrl_c_ends_with_a_word(when):
    begin = "import signal, sys, time\nsignal.signal(signal.SIGINT, signal.default_int_handler)"
    done = subprocess.run(
        [sys.executable, "-c", f"{begin}\n{when}\nsys.argv = ['lostpol', 'wait']\nmain()"],
        capture_output=True, text=True, check=False, timeout=30,
    )  # fmt: skip
    assert "Stopped by the keyboard" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.returncode == 130


@pytest.mark.parametrize(
    ("typed", "told", "cure"),
    [
        (
            ["verdict", "mill.toml", "8d91", "confirmed", "probe"],
            "'probe'",
            "lostpol verdict --help",
        ),
        (["findings", "mill.toml", "--sort", "lost"], "tonnes", "lostpol findings --help"),
        (["period", "mill.toml"], "--from", "lostpol period --help"),
        (["nosuch"], "'nosuch'", "lostpol --help"),
    ],
)
def test_what_was_typed_wrong_is_told_with_where_its_form_stands(capsys, typed, told, cure):
    assert app.run(typed) == 2
    said = capsys.readouterr().err
    assert told in said
    assert cure in said
