"""The page in Chromium: quiet console, no requests, readable at every width."""

import os
import shutil
from pathlib import Path

import pytest

from pipeline.report import write_report

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is absent"),
]


@pytest.fixture(scope="module")
def chromium():
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def files(view, hostile_view, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("report")
    return {
        "plain": write_report(folder / "plain.html", view),
        "hostile": write_report(folder / "hostile.html", hostile_view),
    }


def opened(chromium, path: Path, width: int):
    page = chromium.new_page(viewport={"width": width, "height": 800})
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    return page, said, asked


@pytest.mark.parametrize("kind", ["plain", "hostile"])
@pytest.mark.parametrize("width", [360, 1200])
def test_quiet_alone_and_inside_the_screen(chromium, files, kind, width):
    page, said, asked = opened(chromium, files[kind], width)
    assert said == []
    assert [url for url in asked if not url.startswith("data:")] == [files[kind].as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize(
    ("width", "shown", "hidden"), [(360, "narrow", "wide"), (1200, "wide", "narrow")]
)
def test_one_chart_for_each_width(chromium, files, width, shown, hidden):
    page, _, _ = opened(chromium, files["plain"], width)
    assert page.locator(f"figure .{shown}").first.is_visible()
    assert not page.locator(f"figure .{hidden}").first.is_visible()
    page.close()


def test_small_print_is_large_enough_on_a_phone(chromium, files):
    page, _, _ = opened(chromium, files["plain"], 360)
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('.narrow svg text')].map(
            t => t.getBoundingClientRect().height).filter(h => h > 0))"""
    )
    assert smallest >= 9
    page.close()
