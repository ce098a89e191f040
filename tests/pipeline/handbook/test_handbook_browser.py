"""The handbook in Chromium: whole without script, sifted with it, nothing asked for."""

import pytest
from axe_playwright_python.sync_playwright import Axe
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


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark")])
def test_a_well_kept_checker_finds_no_serious_fault(browser, path, width, scheme):
    # axe-core (Deque Systems; rules of WCAG 2.2 A and AA), as at the desk.
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.goto(path.as_uri())
    # The rules look at every element: one entry of each kind stands for all of its kind.
    page.evaluate(
        """() => document.querySelectorAll('main .part').forEach(part =>
            [...part.querySelectorAll('.entry')].slice(4).forEach(at => at.remove()))"""
    )
    found = Axe().run(page).response["violations"]
    grave = [(f["id"], [n["html"][:120] for n in f["nodes"][:3]])
             for f in found if f["impact"] in ("serious", "critical")]  # fmt: skip
    page.close()
    assert grave == []
