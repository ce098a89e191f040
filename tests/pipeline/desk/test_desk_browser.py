"""The desk in Chromium, used as people use it: by pointer, by keyboard, without a word of error."""

import re
from urllib.parse import urlsplit

import pytest
from chromium import IN_CHROMIUM
from desks import desk_for, running

from pipeline.store.folders import store_of

pytestmark = IN_CHROMIUM
KEY = "brindlewater"


@pytest.fixture
def served(mine):
    desk = desk_for([mine])
    with running(desk) as address:
        yield address


@pytest.fixture
def page(chromium, served):
    """A page of the desk; anything said to the console or asked elsewhere fails the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{served}/m/{KEY}/")
    page.wait_for_load_state("networkidle")
    yield page
    context.close()
    assert said == []
    own = urlsplit(served).netloc
    assert [
        url for url in asked if urlsplit(url).netloc != own and not url.startswith("data:")
    ] == []


def drag(page, first, last):
    """Drag across the strip of the loss, from one share of its width to another."""
    box = page.locator("#row-loss svg").bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + first * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * (first + last) * box["width"], y)
    page.mouse.move(box["x"] + last * box["width"], y)
    page.mouse.up()
    page.wait_for_url("**pick=**")
    page.wait_for_selector("#chosen >> text=Open this period")


def test_the_chemist_opens_the_worst_finding_and_decides_by_keys(page, mine, first):
    link = page.locator(f'#strips a[href$="{first["finding_id"]}"]')
    link.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/finding/*")
    page.keyboard.press("n")
    page.keyboard.type("pump strainer blocked, c and d typed here decide nothing")
    page.get_by_role("textbox", name="By").fill("Ana")
    page.locator("h1").click()
    page.keyboard.press("c")
    page.wait_for_url("**kept=1")
    row = store_of(mine).verdicts().row(0, named=True)
    assert (row["verdict"], row["author"]) == ("confirmed", "Ana")
    assert row["note"] == "pump strainer blocked, c and d typed here decide nothing"
    page.keyboard.press("u")
    page.wait_for_selector("text=No verdict yet")
    assert store_of(mine).verdicts()["verdict"].to_list() == ["confirmed", "taken_back"]
    assert page.get_by_role("textbox", name="By").input_value() == "Ana"


@pytest.mark.slow
def test_keys_can_be_switched_off(page, mine, first, served):
    page.goto(f"{served}/m/{KEY}/finding/{first['finding_id']}")
    page.get_by_role("button", name="Keys of one letter").click()
    page.keyboard.press("d")
    page.reload()
    page.keyboard.press("d")
    page.wait_for_timeout(300)
    assert store_of(mine).verdicts().is_empty()


def test_the_engineer_drags_a_spike_compares_it_and_reads_what_moved_first(page):
    drag(page, 0.2, 0.3)
    page.get_by_role("link", name="Keep it to compare, choose another").click()
    page.wait_for_selector("text=To compare with")
    drag(page, 0.7, 0.8)
    assert "beside=" in page.url
    assert "pick=" in page.url
    page.get_by_role("link", name="Open this period").click()
    page.wait_for_selector("#lanes .lane svg path")
    assert page.locator("#lanes path.under").count() > 0
    assert page.get_by_role("heading", name="What moved first").is_visible()
    before = page.locator("#lanes").get_attribute("data-from")
    page.locator("#lanes").focus()
    page.keyboard.press("+")
    assert page.locator("#lanes").get_attribute("data-from") != before
    page.go_back()
    page.wait_for_selector("#chosen")


def test_the_analyst_filters_and_keeps_what_is_shown(page, mine):
    page.get_by_text("Filter findings and hours").click()
    page.get_by_role("checkbox", name="Limed juice too acid").check()
    page.get_by_role("button", name="Filter").click()
    page.wait_for_url("**cause=low_limed_ph**")
    page.wait_for_selector("text=The filters leave")
    with page.expect_download() as got:
        page.get_by_role("link", name="Findings, CSV").click()
    text = got.value.path().read_text(encoding="utf-8-sig")
    assert text.count("low_limed_ph") == len(text.splitlines()) - 1 >= 1


def test_hours_are_chosen_and_looked_at_closer_by_keyboard_alone(page):
    page.locator("#strips").focus()
    page.keyboard.press("ArrowRight")
    for _ in range(12):
        page.keyboard.press("Shift+ArrowRight")
    assert re.search(r" to ", page.locator("#moment").text_content())
    page.keyboard.press("Enter")
    page.wait_for_selector("#chosen")
    page.keyboard.press("+")
    page.wait_for_url("**from=**")
    assert page.evaluate("document.activeElement.id") == "strips"
    page.keyboard.press("Home")
    page.wait_for_url(lambda url: "from=" not in url)
    page.keyboard.press("Enter")
    page.wait_for_url("**/period?**")


@pytest.mark.slow
def test_a_link_on_a_strip_opens_by_click_and_back_returns_to_the_same_state(page, first):
    page.get_by_role("link", name="Closer", exact=True).click()
    page.wait_for_url("**from=**")
    state = page.url
    page.get_by_role("link", name="Whole season").click()
    page.wait_for_url(lambda url: "from=" not in url)
    page.locator(f'#strips a[href$="{first["finding_id"]}"] rect').click()
    page.wait_for_url("**/finding/*")
    page.go_back()
    page.wait_for_selector("#strips")
    page.go_back()
    page.wait_for_url(lambda url: "from=" in url)
    assert urlsplit(page.url).path == urlsplit(state).path


@pytest.mark.slow
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light"), (1920, "dark")])
def test_nothing_is_wider_than_the_window(chromium, served, first, width, scheme):
    context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    for where in ("?tag=all", "waiting", "verdicts", "reports/", f"finding/{first['finding_id']}",
                  "period?from=2025-10-11&to=2025-10-12", "?least=x"):  # fmt: skip
        page.goto(f"{served}/m/{KEY}/{where}")
        page.wait_for_load_state("networkidle")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, where
        drawn = page.locator("#strips")
        if drawn.count():
            plot = page.locator("#row-loss svg").bounding_box()["width"]
            assert abs(int(drawn.get_attribute("data-width")) - plot) < 26
    context.close()


@pytest.mark.slow
def test_paper_holds_what_is_shown_and_nothing_to_press(chromium, served):
    page = chromium.new_page()
    page.emulate_media(media="print")
    for where in ("", "waiting", "verdicts", "period?from=2025-10-11&to=2025-10-12"):
        page.goto(f"{served}/m/{KEY}/{where}")
        page.wait_for_load_state("networkidle")
        assert page.locator("main h1").is_visible()
        for thing in page.locator("button, .button, input").all():
            assert not thing.is_visible()
    page.close()


@pytest.mark.slow
def test_paper_leaves_out_a_heading_whose_form_it_leaves_out(chromium, served, first):
    page = chromium.new_page()
    page.goto(f"{served}/m/{KEY}/finding/{first['finding_id']}")
    assert page.get_by_role("heading", name="Decide").is_visible()
    wide = page.locator("h2", has_text="What speaks for it").bounding_box()["width"]
    page.emulate_media(media="print")
    assert not page.get_by_role("heading", name="Decide").is_visible()
    floor = page.locator("h2", has_text="Check on the floor").bounding_box()["width"]
    assert floor > 1.5 * wide
    page.goto(f"{served}/m/{KEY}/period?from=2025-10-11&to=2025-10-12")
    page.wait_for_selector("#lanes .lane")
    assert not page.get_by_role("heading", name="What it would have been").is_visible()
    # The name of a signal does not stand at the foot of a sheet, its chart on the next.
    broken = "getComputedStyle(document.querySelector('.lane')).breakInside"
    assert page.evaluate(broken) == "avoid"
    page.close()


@pytest.mark.slow
def test_without_script_links_and_forms_do_the_same(chromium, served):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{served}/m/{KEY}/")
    page.locator('input[name="from"]').first.fill("2025-10-11 08:00")
    page.locator('input[name="to"]').first.fill("20:00")
    page.get_by_role("button", name="Show", exact=True).click()
    head = page.locator("h1").inner_text().replace("\u00a0", " ")
    assert head.startswith("Sat 11 Oct 2025 08:00 to 20:00")
    page.locator("#strips a").first.click()
    assert page.get_by_role("button", name="Confirmed").is_visible()
    page.goto(f"{served}/m/{KEY}/period?from=2025-10-11&to=2025-10-11")
    assert page.locator("#still svg").is_visible()
    context.close()


def test_a_page_of_another_site_cannot_give_a_verdict(chromium, served, mine, first, tmp_path):
    where = f"{served}/m/{KEY}/finding/{first['finding_id']}/verdict"
    evil = tmp_path / "evil.html"
    evil.write_text(
        f'<form method="post" action="{where}"><input name="verdict" value="dismissed">'
        '<input name="seen" value="0"></form><script>document.forms[0].submit()</script>'
    )
    page = chromium.new_page()
    page.goto(evil.as_uri())
    page.wait_for_load_state("networkidle")
    assert store_of(mine).verdicts().is_empty()
    page.close()
