"""The strip of the laboratory's level: drawn alike in every language, its scale and cuts told."""

import re
from itertools import pairwise
from types import SimpleNamespace

import pytest

from pipeline.desk.drawing import Strip
from pipeline.desk.paths import Scale
from pipeline.tongue import LANGUAGES

STRIP = re.compile(r'<div class="row" id="row-level">.*?</svg>', re.DOTALL)
PATH = re.compile(r"[MLZhHV\d .-]+")


@pytest.fixture
def strips(shown):
    def of(language):
        return STRIP.search(shown.get(f"/m/brindlewater/?language={language}").text)[0]

    return of


@pytest.mark.parametrize("language", LANGUAGES)
def test_its_paths_hold_no_decimal_commas(strips, language):
    drawn = re.findall(r' d="([^"]*)"', strips(language))
    assert drawn
    assert [path for path in drawn if not PATH.fullmatch(path)] == []


def test_its_scale_has_more_than_one_number(strips):
    numbers = re.findall(r'class="small"[^>]*>([^<]+)<', strips("en"))
    assert len(numbers) > 1
    assert len(set(numbers)) == len(numbers)


def test_numbers_are_written_over_the_curve(strips):
    drawn = strips("en")
    assert drawn.rindex("<path") < drawn.index('class="plate"')


def test_numbers_of_a_low_strip_do_not_lie_over_each_other():
    strip = Strip(SimpleNamespace(width=100), 30, "low")
    strip.levels(Scale(-1.0, 4.0, 30), 5)
    heights = sorted(y for y, _ in strip._numbers)
    assert len(heights) > 1
    assert min(b - a for a, b in pairwise(heights)) >= 11.0
