"""The weekly review in Chromium: quiet, alone, inside the screen, readable on a phone."""

import os
import shutil
from pathlib import Path

import pytest

from pipeline.report import write_week

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is absent"),
]


@pytest.fixture(scope="module")
def file(week, tmp_path_factory) -> Path:
    return write_week(tmp_path_factory.mktemp("week") / "weekly.html", week)


@pytest.fixture(scope="module")
def chromium():
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.mark.parametrize(
    ("width", "shown", "hidden"), [(390, "narrow", "wide"), (1280, "wide", "narrow")]
)
def test_quiet_alone_and_inside_the_screen(chromium, file, width, shown, hidden):
    page = chromium.new_page(viewport={"width": width, "height": 800})
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    assert said == []
    assert [url for url in asked if not url.startswith("data:")] == [file.as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(f".{shown} svg").first.is_visible()
    assert not page.locator(f".{hidden} svg").first.is_visible()
    assert page.locator(".bar").count() > 10
    page.close()
