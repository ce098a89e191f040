"""The weekly review in Chromium: quiet, alone, inside the screen, readable on a phone."""

from pathlib import Path

import pytest
from chromium import IN_CHROMIUM, opened

from pipeline.report.write import write_week

pytestmark = IN_CHROMIUM


@pytest.fixture(scope="module")
def file(week, tmp_path_factory) -> Path:
    return write_week(tmp_path_factory.mktemp("week") / "weekly.html", week)


@pytest.mark.parametrize(
    ("width", "shown", "hidden"), [(390, "narrow", "wide"), (1280, "wide", "narrow")]
)
def test_quiet_alone_and_inside_the_screen(chromium, file, width, shown, hidden):
    page, said, asked = opened(chromium, file, width)
    assert said == []
    assert asked == [file.as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(f".{shown} svg").first.is_visible()
    assert not page.locator(f".{hidden} svg").first.is_visible()
    assert page.locator(".bar").count() > 10
    page.close()
