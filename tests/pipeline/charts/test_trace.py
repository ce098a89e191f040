"""A small trace: one panel, no legend, lines as thick as asked."""

import re

import pytest

from pipeline.charts import Panel, Series, trace

HOURS = [(n * 3_600_000, float(n % 5)) for n in range(20)]


def drawn(*lines):
    return trace(Panel("", lines), (0, 20 * 3_600_000), "small", "a tag")


@pytest.mark.parametrize("widths", [(1.6,), (1.0, 2.6), (1.0, 1.2, 2.6)])
def test_lines_are_as_thick_as_asked(widths):
    lines = [Series(f"line {n}", HOURS, width=width) for n, width in enumerate(widths)]
    found = re.findall(r'stroke-width="([^"]*)" stroke-linejoin', drawn(*lines))
    assert [float(width) for width in found] == list(widths)


def test_names_of_lines_are_not_drawn():
    svg = drawn(Series("first", HOURS), Series("second", HOURS))
    assert "first" not in svg
    assert "second" not in svg
    assert 'aria-label="a tag"' in svg


@pytest.mark.parametrize("level", [0.0, 1e-310, 5e-324])
def test_a_level_as_good_as_zero_is_drawn(level, capfd):
    """The renderer finds no marks for an axis without a width, and says so on the terminal."""
    assert "<path" in drawn(Series("a", [(t, level) for t, _ in HOURS]))
    assert "ERROR" not in capfd.readouterr().err
