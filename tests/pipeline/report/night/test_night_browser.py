"""The nightly page in Chromium: quiet, alone, inside the screen, and one sheet of paper."""

import re
from pathlib import Path

import pytest
from chromium import IN_CHROMIUM, opened

from pipeline.report.night import compose_night
from pipeline.report.pages import page_of

pytestmark = IN_CHROMIUM


@pytest.fixture(scope="module")
def file(night, tmp_path_factory) -> Path:
    """The fixed night, drawn once."""
    return written(tmp_path_factory.mktemp("night"), night)


def written(folder: Path, night) -> Path:
    path = folder / "nightly.html"
    path.write_text(page_of("night", compose_night(night)), encoding="utf-8")
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_quiet_alone_and_inside_the_screen(chromium, file, width):
    page, said, asked = opened(chromium, file, width)
    assert said == []
    assert asked == [file.as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".chart svg").count() == 3
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('.chart svg text')].map(
            t => t.getBoundingClientRect().height).filter(h => h > 0))"""
    )
    assert smallest >= 9
    page.close()


def test_hostile_names_run_nothing_and_stay_inside(
    chromium, make_night, make_findings, night_rows, hostile_view, tmp_path
):
    night = make_night(
        make_findings(*night_rows),
        mill=hostile_view.mill,
        missing_tags=hostile_view.missing_tags,
        not_computed=hostile_view.not_computed,
        tags=hostile_view.tags,
    )
    path = written(tmp_path, night)
    page, said, asked = opened(chromium, path, 390)
    assert said == []
    assert asked == [path.as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.close()


def test_printed_it_is_one_sheet(chromium, file):
    page, _, _ = opened(chromium, file, 1280)
    sheets = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", sheets)) == 1
    page.close()
