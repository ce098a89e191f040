"""The page of a draft in Chromium: quiet, alone, inside the screen, no label over another."""

import pytest
from chromium import IN_CHROMIUM, opened
from drafts import full_draft, hostile_draft

from pipeline.describe.page import write_page

pytestmark = IN_CHROMIUM


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("draft")
    paths = {"full": folder / "full.html", "hostile": folder / "hostile.html"}
    write_page(full_draft(), paths["full"])
    write_page(hostile_draft(), paths["hostile"])
    return paths


@pytest.mark.parametrize("kind", ["full", "hostile"])
@pytest.mark.parametrize("width", [390, 1280])
def test_quiet_alone_and_inside_the_screen(chromium, files, kind, width):
    page, said, asked = opened(chromium, files[kind], width)
    assert said == []
    assert asked == [files[kind].as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize("kind", ["full", "hostile"])
@pytest.mark.parametrize(("width", "form"), [(390, "narrow"), (1280, "wide")])
def test_labels_of_the_picture_lie_apart_and_are_large_enough(chromium, files, kind, width, form):
    page, _, _ = opened(chromium, files[kind], width)
    shown = page.evaluate(
        """form => [...document.querySelectorAll(`.map .${form} text`)].map(text => {
            const box = text.getBoundingClientRect();
            return [box.left, box.top, box.right, box.bottom];
        })""",
        form,
    )
    assert shown
    assert min(bottom - top for _, top, _, bottom in shown) >= 10
    for number, one in enumerate(shown):
        assert one[0] >= 0
        assert one[2] <= width
        for other in shown[number + 1 :]:
            # Lines of one label follow each other closely; a box is taller than its letters.
            beside = one[2] <= other[0] or other[2] <= one[0]
            assert beside or one[3] - other[1] <= 3 or other[1] >= one[3]
    page.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_traces_can_be_read(chromium, files, width):
    page, _, _ = opened(chromium, files["full"], width)
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('.trace svg text')].map(
            text => text.getBoundingClientRect().height))"""
    )
    assert smallest >= 9
    page.close()


def test_paper_is_white_in_a_dark_room(chromium, files):
    context = chromium.new_context(color_scheme="dark", viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(files["full"].as_uri())
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    assert page.evaluate(ground) == "rgb(24, 23, 21)"
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    context.close()
