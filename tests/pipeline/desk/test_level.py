"""The strip of the laboratory's level: drawn alike in every language, its scale and cuts told."""

import re

import pytest

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
