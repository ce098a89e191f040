"""The handbook in Chromium: whole without script, sifted with it, nothing asked for."""

import pytest
from chromium import CHROMIUM, IN_CHROMIUM, opened

from pipeline.cli.app import app
from pipeline.handbook.commands import commands_of
from pipeline.handbook.page import write_handbook

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = IN_CHROMIUM


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as running:
        held = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield held
        held.close()


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return write_handbook(commands_of(app), tmp_path_factory.mktemp("handbook"))


@pytest.mark.parametrize("width", [390, 1280])
def test_the_search_sifts_and_a_link_ends_it(browser, path, width):
    page, said, asked = opened(browser, path, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    everything = page.locator("main .entry:visible").count()
    page.fill("#words", "SMALLEST_finding_worth currency")
    assert 1 <= page.locator("main .entry:visible").count() < everything / 10
    assert page.locator("#key-detection").is_visible()
    assert not page.locator("#command-tidy").is_visible()
    assert "section" in page.locator("#count").inner_text()
    page.fill("#words", "nosuchwordatall")
    assert page.locator("main .entry:visible").count() == 0
    assert page.locator("#count").inner_text() == "No section has all these words."
    page.evaluate("location.hash = '#command-tidy'")
    page.wait_for_function("document.getElementById('words').value === ''")
    assert page.locator("#command-tidy").is_visible()
    assert page.locator("main .entry:visible").count() == everything
    assert said == []
    assert [url for url in asked if url != path.as_uri()] == []
    page.close()


def test_without_script_all_of_it_stands_and_no_search_box(browser, path):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.locator("#command-tidy").is_visible()
    assert page.locator("#table-table-findings").is_visible()
    assert not page.locator("#search").is_visible()
    context.close()
