"""The dossier in Chromium: zoom, reading line, signals on and off, keyboard, paper, no scripts."""

import re

import pytest
from chromium import IN_CHROMIUM

from pipeline.dossier.drawing import levels

pytestmark = IN_CHROMIUM
LANE = "#lanes .lane:not([hidden])"


class Opened:
    """A page with what it said and asked for."""

    def __init__(self, browser, path, width=1200, **options):
        self.context = browser.new_context(viewport={"width": width, "height": 900}, **options)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", lambda box: (self.said.append(box.message), box.dismiss()))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def window(self):
        """Hours shown, as the chart tells them."""
        lanes = self.page.locator("#lanes")
        return tuple(int(lanes.get_attribute(f"data-{end}")) for end in ("from", "to"))

    def span_h(self):
        start, end = self.window()
        return (end - start) / 3.6e6

    def quiet(self, path):
        outside = [url for url in self.asked if not url.startswith("data:")]
        return self.said == [] and outside == [path.as_uri()]


@pytest.fixture
def opened(chromium, page):
    held = Opened(chromium, page)
    yield held
    assert held.quiet(page)
    held.context.close()


def test_every_axis_has_two_numbers_or_more_as_the_still_drawing_has(opened):
    """From one alone nobody can read how far a line fell: here and in `drawing.levels`."""
    told = opened.page.evaluate(
        """() => [...document.querySelectorAll('#lanes .lane:not([hidden]) svg')]
        .filter(svg => svg.querySelector('path'))
        .map(svg => svg.querySelectorAll('text[text-anchor=end]').length)"""
    )
    assert len(told) > 3
    assert min(told) >= 2


def test_the_step_of_an_axis_is_that_of_the_still_drawing(opened):
    """The script and `drawing.levels` are one rule written twice."""
    source = opened.page.evaluate("document.documentElement.innerHTML")
    rule = source[source.index("const levels = ") : source.index("/* One point to the pixel")]
    for low, high in ((0.0, 300.0), (6.3, 7.2), (-0.02, 0.1), (8.1, 11.9), (210.0, 930.0)):
        marks, decimals = opened.page.evaluate(f"() => {{ {rule} return levels([{low}, {high}]) }}")
        assert [f"{mark + 0.0:.{decimals}f}" for mark in marks] == [
            words for _, words in levels(low, high)
        ]


def middle_of(lane):
    lane.scroll_into_view_if_needed()
    box = lane.bounding_box()
    return box["x"], box["y"] + 30, box["width"]


@pytest.mark.parametrize("kind", ["plain", "hostile"])
def test_quiet_alone_and_inside_a_narrow_screen(chromium, page, hostile_page, kind):
    # Every other test asserts the same on a wide screen.
    width = 360
    path = page if kind == "plain" else hostile_page
    held = Opened(chromium, path, width)
    held.page.locator("summary").click()
    held.page.locator("button[data-do=all]").click()
    held.page.locator(f"{LANE} svg").first.hover(position={"x": 150, "y": 30})
    assert held.quiet(path)
    assert held.page.evaluate("document.documentElement.scrollWidth") <= width
    # Results lie one below the other: no column of theirs is cut at the edge of a phone.
    lab = "[...document.querySelectorAll('#lab .wide')].every(t => t.scrollWidth <= t.clientWidth)"
    assert held.page.locator("#lab .wide").count() == 1
    assert held.page.evaluate(lab)
    held.context.close()


def test_hostile_tags_are_text_in_the_chart_too(chromium, hostile_page, hostile_tags):
    held = Opened(chromium, hostile_page)
    held.page.locator("summary").click()
    held.page.locator("button[data-do=all]").click()
    names = held.page.locator("#lanes .name bdi:first-child").all_inner_texts()
    assert held.page.evaluate("document.documentElement.scrollWidth") <= 1200
    assert hostile_tags["LT.AI212"] in names
    assert hostile_tags["ST.AI308"] in names
    assert "null" in names
    assert held.page.locator("#chart img, #chart script, #chart b").count() == 0
    assert held.quiet(hostile_page)
    held.context.close()


def test_zoom_by_drag_buttons_and_reset(opened):
    assert not opened.page.locator("#still svg").is_visible()
    whole = opened.window()
    x, y, width = middle_of(opened.page.locator(f"{LANE} svg").nth(1))
    opened.page.mouse.move(x + 0.4 * width, y)
    opened.page.mouse.down()
    opened.page.mouse.move(x + 0.6 * width, y, steps=3)
    opened.page.mouse.up()
    dragged = opened.span_h()
    assert dragged == pytest.approx(
        0.2 * width / (width - 58) * (whole[1] - whole[0]) / 3.6e6, rel=0.05
    )
    opened.page.locator("button[data-do=in]").click()
    assert opened.span_h() == pytest.approx(dragged / 2, rel=0.01)
    before = opened.window()
    opened.page.locator("button[data-do=left]").click()
    assert opened.window()[0] < before[0]
    assert opened.span_h() == pytest.approx(dragged / 2, rel=0.01)
    opened.page.locator("button[data-do=finding]").click()
    assert opened.window()[0] > whole[0]
    opened.page.locator("button[data-do=reset]").click()
    assert opened.window() == whole


def test_zoom_draws_other_lines(opened):
    path = opened.page.locator(f"{LANE} svg path.read").first
    before = path.get_attribute("d")
    opened.page.locator("button[data-do=in]").click()
    assert path.get_attribute("d") != before


def test_the_reading_line_tells_time_and_values(opened, first):
    x, y, width = middle_of(opened.page.locator(f"{LANE} svg").nth(1))
    assert opened.page.locator(f"{LANE} .value").first.inner_text() == ""
    opened.page.mouse.move(x + 0.5 * width, y)
    assert re.fullmatch(
        r"\w{3} \d+ Oct \d\d:\d\d, juice entered", opened.page.locator("#moment").inner_text()
    )
    values = opened.page.locator(f"{LANE} .value").all_inner_texts()
    assert any(re.search(r"lost \d+ kg/h; unavoidable \d+ kg/h", value) for value in values)
    probe = next(value for value in values if "corrected by the laboratory" in value)
    assert re.search(r"as read \d\.\d\d pH; .*read \d\d:\d\d$", probe)
    assert opened.page.locator(f"{LANE} .cursor[visibility=visible]").count() == len(values)
    opened.page.mouse.move(5, 5)
    assert opened.page.locator(f"{LANE} .value").first.inner_text() == ""


def test_signals_go_on_and_off(opened):
    shown = opened.page.locator(LANE).count()
    opened.page.locator("summary").click()
    box = opened.page.get_by_label(re.compile(r"^LT.AI212"))
    box.uncheck()
    assert opened.page.locator(LANE).count() == shown - 1
    box.check()
    assert opened.page.locator(LANE).count() == shown
    opened.page.locator("button[data-do=none]").click()
    assert opened.page.locator(LANE).count() == 0
    opened.page.locator("button[data-do=first]").click()
    assert opened.page.locator(LANE).count() == shown
    assert f"{shown} of" in opened.page.locator("summary").inner_text()


def test_by_the_clock_the_settlers_probe_moves_later(opened):
    lane = opened.page.locator(LANE).filter(has_text="ST.AI308").locator("svg path.read")

    def start():
        return float(re.match(r"M([\d.]+)", lane.get_attribute("d"))[1])

    entered = start()
    opened.page.locator("button[data-do=axis]").click()
    assert opened.page.locator("button[data-do=axis]").get_attribute("aria-pressed") == "true"
    assert start() >= entered
    x, y, width = middle_of(opened.page.locator(f"{LANE} svg").nth(1))
    opened.page.mouse.move(x + 0.5 * width, y)
    assert "by the clock" in opened.page.locator("#moment").inner_text()


def test_readings_stand_behind_the_lines_as_they_were_exported(opened):
    assert opened.page.locator(".dots").count() == 0
    opened.page.locator("button[data-do=raw]").click()
    assert opened.page.locator("#raw").get_attribute("aria-pressed") == "true"
    drawn = opened.page.locator(".dots").evaluate_all("all => all.map(x => x.getAttribute('d'))")
    assert max(path.count("M") for path in drawn) > 200
    opened.page.locator("button[data-do=raw]").click()
    assert opened.page.locator(".dots").count() == 0


def test_the_keyboard_reaches_everything(opened):
    whole = opened.window()
    opened.page.locator("#lanes").focus()
    opened.page.keyboard.press("ArrowRight")
    said = opened.page.locator("#said").inner_text()
    assert "juice entered" in said
    assert "kg/h" in said
    opened.page.keyboard.press("+")
    assert opened.span_h() == pytest.approx((whole[1] - whole[0]) / 7.2e6, rel=0.01)
    before = opened.window()
    opened.page.keyboard.press("Shift+ArrowLeft")
    assert opened.window()[0] < before[0]
    opened.page.keyboard.press("Escape")
    assert opened.page.locator(f"{LANE} .value").first.inner_text() == ""
    opened.page.keyboard.press("Home")
    assert opened.window() == whole
    opened.page.locator("button[data-do=in]").focus()
    opened.page.keyboard.press("Enter")
    assert opened.span_h() < (whole[1] - whole[0]) / 3.6e6


def test_paper_has_every_lane_and_no_buttons(opened):
    opened.page.emulate_media(media="print")
    assert not opened.page.locator("button").first.is_visible()
    assert opened.page.locator(f"{LANE} svg").count() >= 5
    assert opened.page.pdf(prefer_css_page_size=True)[:5] == b"%PDF-"


def test_without_scripts_the_still_picture_stands(chromium, page):
    held = Opened(chromium, page, java_script_enabled=False)
    assert held.page.locator("#still svg").is_visible()
    assert not held.page.locator("#chart").is_visible()
    assert held.page.locator("#still svg path").count() >= 5
    held.context.close()
