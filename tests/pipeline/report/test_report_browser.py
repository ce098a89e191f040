"""The page in Chromium: quiet console, no requests, readable at every width."""

from pathlib import Path

import pytest
from chromium import IN_CHROMIUM, opened

from pipeline.report.write import write_report

pytestmark = IN_CHROMIUM


@pytest.fixture(scope="module")
def files(view, hostile_view, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("report")
    return {
        "plain": write_report(folder / "plain.html", view),
        "hostile": write_report(folder / "hostile.html", hostile_view),
    }


def unfold(page) -> None:
    """Open what a phone folds away."""
    page.evaluate("document.querySelectorAll('input.fold').forEach(e => { e.checked = true })")


@pytest.mark.parametrize("kind", ["plain", "hostile"])
@pytest.mark.parametrize("width", [360, 1200])
def test_quiet_alone_and_inside_the_screen(chromium, files, kind, width):
    page, said, asked = opened(chromium, files[kind], width)
    assert said == []
    assert asked == [files[kind].as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize(
    ("width", "shown", "hidden"), [(360, "narrow", "wide"), (1200, "wide", "narrow")]
)
def test_one_chart_for_each_width(chromium, files, width, shown, hidden):
    page, _, _ = opened(chromium, files["plain"], width)
    unfold(page)
    assert page.locator(f"figure .{shown}").first.is_visible()
    assert not page.locator(f"figure .{hidden}").first.is_visible()
    page.close()


def test_small_print_is_large_enough_on_a_phone(chromium, files):
    page, _, _ = opened(chromium, files["plain"], 360)
    unfold(page)
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('.narrow svg text')].map(
            t => t.getBoundingClientRect().height).filter(h => h > 0))"""
    )
    assert smallest >= 9
    page.close()


@pytest.mark.parametrize("width", [360, 1200])
def test_no_name_of_a_share_lies_over_its_bar(chromium, files, width):
    page, _, _ = opened(chromium, files["plain"], width)
    unfold(page)
    gaps = page.evaluate(
        """[...document.querySelectorAll('.shares li i')].map(bar => {
            const words = document.createRange();
            words.selectNodeContents(bar.closest('li').querySelector('span'));
            return bar.getBoundingClientRect().left - words.getBoundingClientRect().right;
        })"""
    )
    assert len(gaps) >= 3
    assert min(gaps) >= 0
    page.close()


def test_paper_keeps_a_term_with_what_it_says_and_a_mark_within_the_sheet(chromium, files):
    page, _, _ = opened(chromium, files["plain"], 1280)
    page.emulate_media(media="print")
    terms = "[...document.querySelectorAll('dt')].map(e => getComputedStyle(e).breakAfter)"
    assert set(page.evaluate(terms)) == {"avoid"}
    assert page.evaluate("""() => {
        const pen = document.createElement('canvas').getContext('2d');
        return [...document.querySelectorAll('.checks')].every(list => {
            const style = getComputedStyle(list.querySelector('li'));
            pen.font = style.font;
            const mark = pen.measureText(JSON.parse(style.listStyleType)).width;
            return mark <= parseFloat(getComputedStyle(list).paddingLeft);
        });
    }""")
    page.close()
