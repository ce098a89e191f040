"""What a reader sees of the desk on a phone and on paper, in every language."""

import shutil

import pytest
from chromium import IN_CHROMIUM
from desks import desk_for, running
from slow_case import slow

from pipeline.mill.description import load_mill
from pipeline.store.folders import store_of

pytestmark = IN_CHROMIUM
VIEWS = ("", "finding/{first}", "period?from={start}&to={end}")
#: Headings with nothing below them: what they head is not shown on paper.
BARE = """() => [...document.querySelectorAll('main section')].filter(e => e.checkVisibility())
    .map(e => [e.innerText.trim(), e.querySelector('h2')])
    .filter(([told, head]) => head && told === head.innerText.trim()).map(([told]) => told)"""
#: Lanes that a sheet may part from their names.
PARTED = """() => [...document.querySelectorAll('.lane, .row')]
    .filter(e => getComputedStyle(e).breakInside !== 'avoid').map(e => e.className)"""
#: Marks of a list that hang out of its text.
HUNG = """() => {
    const pen = document.createElement('canvas').getContext('2d');
    return [...document.querySelectorAll('.checks')].filter(list => {
        const style = getComputedStyle(list.querySelector('li'));
        pen.font = style.font;
        const mark = JSON.parse(style.listStyleType);
        return pen.measureText(mark).width > parseFloat(getComputedStyle(list).paddingLeft);
    }).map(list => list.textContent);
}"""
#: Signs of a legend on another line than their word.
LOST_SIGNS = """() => [...document.querySelectorAll('.legend svg')].filter(sign => {
    const range = document.createRange();
    const word = sign.nextSibling;
    range.setStart(word, 1);
    range.setEnd(word, 2);
    return Math.abs(range.getBoundingClientRect().top - sign.getBoundingClientRect().top) > 9;
}).map(sign => sign.nextSibling.textContent)"""
#: Hints that reach beyond their field.
LONG_HINTS = """() => {
    const pen = document.createElement('canvas').getContext('2d');
    return [...document.querySelectorAll('input[placeholder]')].filter(field => {
        const style = getComputedStyle(field);
        pen.font = style.font;
        const edges = parseFloat(style.paddingLeft) + parseFloat(style.paddingRight);
        const room = field.clientWidth - edges;
        return field.checkVisibility() && pen.measureText(field.placeholder).width > room;
    }).map(field => field.placeholder);
}"""
#: Values of sliders that fall to a line below.
FALLEN = """() => [...document.querySelectorAll('input[type=range]')].filter(slider =>
    slider.parentElement.querySelector('.keep-whole').getBoundingClientRect().top
        > slider.getBoundingClientRect().bottom).map(slider => slider.name)"""


@pytest.fixture(scope="module")
def desk(searched, tmp_path_factory):
    """Address of a desk that runs, and what its addresses are filled with."""
    folder = tmp_path_factory.mktemp("seen") / "mill"
    shutil.copytree(searched, folder)
    mill = load_mill(folder / "demo_mill.toml")
    found = store_of(mill).findings().row(0, named=True)
    times = {"start": "started", "end": "ended"}
    filling = {name: found[kept].strftime("%Y-%m-%dT%H:%MZ") for name, kept in times.items()}
    with running(desk_for([mill])) as address:
        yield f"{address}/m/brindlewater/", {"first": found["finding_id"], **filling}


def seen(chromium, desk, view, language, width):
    address, filling = desk
    page = chromium.new_page(viewport={"width": width, "height": 844})
    page.goto(f"{address}{view.format(**filling)}{'&' if '?' in view else '?'}language={language}")
    return page


@pytest.mark.parametrize("language", [slow("en"), slow("es"), slow("pt"), "fr"])
@pytest.mark.parametrize("view", VIEWS)
def test_a_phone_shows_signs_hints_and_values_whole(chromium, desk, view, language):
    page = seen(chromium, desk, view, language, 390)
    assert page.evaluate(LOST_SIGNS) == []
    assert page.evaluate(LONG_HINTS) == []
    assert page.evaluate(FALLEN) == []
    page.close()


@pytest.mark.parametrize("view", VIEWS)
def test_paper_shows_no_bare_heading_parted_lane_or_cut_mark(chromium, desk, view):
    page = seen(chromium, desk, view, "es", 1280)
    page.emulate_media(media="print")
    assert page.evaluate(BARE) == []
    assert page.evaluate(PARTED) == []
    assert page.evaluate(HUNG) == []
    page.close()


@pytest.mark.parametrize("language", ["es", "pt", "fr"])
def test_the_trends_write_a_day_as_the_tables_do(chromium, desk, language):
    page = seen(chromium, desk, VIEWS[2], language, 1280)
    window = page.locator("h1, h2").all_inner_texts()
    moment = page.locator("#chart .moment").inner_text()
    first = " ".join(moment.split()[:3])
    assert any(first.split()[0] in words.split() for words in window), (first, window)
    assert "," not in first
    assert " de " not in moment
    page.close()
