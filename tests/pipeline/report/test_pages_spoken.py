"""Every page in its four languages: nothing left in English, cut, covered, alone or without a head.

One mill for all, as in ``test_pages_checked``; pages of the desk are opened at a desk that runs.
"""

import shutil
from dataclasses import replace

import page_checker
import pytest
import tongue_checker as checker
from chromium import IN_CHROMIUM, opened
from desks import desk_for, running
from slow_case import slow

from pipeline.base import Window, now
from pipeline.cli.period_show import write_page
from pipeline.dossier import write_dossier
from pipeline.mill.description import load_mill
from pipeline.period import answer, beside_of
from pipeline.present import write_night_report, write_season_report, write_week_report
from pipeline.present.view import latest_run
from pipeline.run import night_of, week_of
from pipeline.store.folders import store_of
from pipeline.tongue import LANGUAGES

pytestmark = IN_CHROMIUM
WRITTEN = ("nightly", "weekly", "keeper", "backfill", "dossier", "period")
AT_THE_DESK = (
    "",
    "finding/{first}",
    "period?from={day}&to={next}",
    "what-if?from={day}&to={next}",
    "what-if?from={day}&to={next}&by.ph_limed=0.1",
    # Outside what the mill has run; of no use as a change; of nothing that is known.
    "what-if?from={day}&to={next}&by.first_evaporator.temp_degc=4",
    "what-if?from={day}&to={next}&by.ph_limed=9",
    "what-if?from={next}&to={day}",
    "finding/nothing",
    "reports/nothing.html",
    "waiting",
    "verdicts",
    "reports/",
)
PHONE, WIDE = 390, 1280
#: What the margins of a sheet of A4 leave of its 210 mm.
PAPER = round(186 / 25.4 * 96)
_WORDS = (checker.english, checker.unmet, checker.signs, checker.points, checker.parted)
_LAYOUT = (
    checker.broken_words,
    checker.row_heads,
    checker.clipped,
    checker.sideways,
    checker.out_of_column,
    page_checker.text_over_text,
)
#: A dossier on a phone before anything is unfolded, in heights of its screen.
MOST_SCREENS = 15


@pytest.fixture(scope="session")
def mill(searched, tmp_path_factory):
    """A mill whose pages are written; not the one that others read."""
    folder = tmp_path_factory.mktemp("spoken") / "mill"
    shutil.copytree(searched, folder)
    return load_mill(folder / "demo_mill.toml")


@pytest.fixture(scope="session")
def spoken(mill, tmp_path_factory):
    """Pages of the mill by language and name."""
    run = latest_run(mill)
    window = Window(run["window_start"], run["window_end"])
    found = store_of(mill).findings().row(0, named=True)
    hours = Window(found["started"], found["ended"])
    pages = {}
    for language in LANGUAGES:
        told = replace(mill, reports=mill.reports.model_copy(update={"language": language}))
        week = write_week_report(told, week_of(told, window))
        made = {
            "nightly": write_night_report(told, night_of(told, window)),
            "weekly": week,
            "keeper": week.with_name("keeper.html"),
            "backfill": write_season_report(told, window),
            "dossier": write_dossier(told, found["finding_id"]),
            "period": write_page(answer(told, hours, beside_of("usual", told.tz, now())), None),
        }
        folder = tmp_path_factory.mktemp(language)
        for name, path in made.items():
            pages[language, name] = shutil.copy(path, folder / f"{name}.html")
            if path.with_suffix(".pdf").exists():
                shutil.copy(path.with_suffix(".pdf"), folder / f"{name}.pdf")
    return pages


@pytest.fixture(scope="session")
def desk(mill):
    """Address of a desk that runs, and what its addresses are filled with."""
    found = store_of(mill).findings().row(0, named=True)
    day = found["started"].strftime("%Y-%m-%dT%H:%MZ")
    after = found["ended"].strftime("%Y-%m-%dT%H:%MZ")
    with running(desk_for([mill])) as address:
        yield address, {"first": found["finding_id"], "day": day, "next": after}


def faults(page, language, checks=_WORDS):
    """What is wrong with a page as it stands."""
    wrong = {check.__name__: check(page, language) for check in checks}
    wrong |= {check.__name__: check(page) for check in _LAYOUT}
    return {name: found for name, found in wrong.items() if found}


def on_paper(page):
    """What of a page a sheet of paper is too narrow for."""
    page.set_viewport_size({"width": PAPER, "height": 844})
    page.emulate_media(media="print")
    cut = page.evaluate(
        """() => [...document.querySelectorAll('th, td')].filter(e => e.checkVisibility())
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent)"""
    )
    return checker.sideways(page) + cut


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", WRITTEN)
def test_a_report_in_every_language(chromium, spoken, name, language):
    path = spoken[language, name]
    page, _, _ = opened(chromium, path, PHONE)
    if name in ("backfill", "dossier", "period"):
        assert page.evaluate("document.body.scrollHeight") < MOST_SCREENS * 844
    page.evaluate("document.querySelectorAll('input.fold').forEach(e => { e.checked = true })")
    assert faults(page, language) == {}
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
    # A written page says the same at any width.
    page.set_viewport_size({"width": WIDE, "height": 844})
    assert faults(page, language, ()) == {}
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDE
    assert checker.orphan_headings(page) == []
    assert on_paper(page) == []
    if name == "backfill":
        assert page_checker.empty_thirds(page, most_of_last=0.55) == []
    sheets = path.with_suffix(".pdf")
    if sheets.exists():
        assert checker.orphan_headings(page, sheets.read_bytes()) == []
    page.close()


#: French words are the longest, and its signs the most particular. Views of the desk in the other
#: tongues, English too, are looked at with what is slow.
@pytest.mark.parametrize("language", [slow("en"), slow("es"), slow("pt"), "fr"])
@pytest.mark.parametrize("view", AT_THE_DESK)
def test_a_view_of_the_desk_in_every_language(chromium, desk, view, language):
    address, filling = desk
    where = f"{address}/m/brindlewater/{view.format(**filling)}"
    for width in (PHONE, WIDE):
        page = chromium.new_page(viewport={"width": width, "height": 844})
        page.goto(f"{where}{'&' if '?' in where else '?'}language={language}")
        assert page.locator("html").get_attribute("lang") in {language, "pt-BR"}
        assert faults(page, language) == {}
        if width == WIDE:
            assert checker.orphan_headings(page) == []
            assert on_paper(page) == []
        page.close()


def test_the_desk_says_in_which_tongue_its_other_tongues_are(chromium, desk):
    page = chromium.new_page()
    page.goto(f"{desk[0]}/m/brindlewater/verdicts")
    links = page.locator(".tongues a")
    found = links.evaluate_all("all => all.map(a => [a.lang, a.hreflang, a.textContent])")
    assert found == [[one, one, name] for one, name in LANGUAGES.items() if one != "en"]
    page.close()


BROKEN = """<body><table><thead><tr><th scope="col">A</th></tr></thead>
<tbody><tr><th scope="row">{head}</th></tr></tbody></table><p>{text}</p></body>"""


@pytest.mark.parametrize(
    ("check", "language", "text"),
    [
        (checker.english, "es", "90\u00a0% interval"),
        (checker.english, "pt", "0,1\u00a0t a day"),
        (checker.unmet, "es", "alrededor de el período"),
        (checker.unmet, "pt", "horas de o achado"),
        (checker.unmet, "pt", "em este período"),
        (checker.unmet, "fr", "autour de le constat"),
        (checker.signs, "fr", "Constats: 1"),
        (checker.signs, "fr", "Constats : 1"),
        (checker.signs, "fr", "90% des heures"),
        (checker.signs, "fr", "<style>p::after { content: '; ' }</style>Constats"),
        (checker.points, "fr", "0.26\u00a0pH"),
        (checker.parted, "pt", "0,1 t por dia"),
        (checker.points, "en", "Temperature, by [K]"),
    ],
)
def test_the_checker_hears_what_is_wrong(chromium, check, language, text):
    page = chromium.new_page()
    page.set_content(BROKEN.format(head="x", text=text))
    assert [found.__name__ for found in _WORDS if found(page, language)] == [check.__name__]
    page.close()


def test_the_checker_hears_nothing_where_nothing_is_wrong(chromium):
    page = chromium.new_page()
    page.set_content(BROKEN.format(head="x", text="90\u00a0% du jus\u00a0: 1\u00a0314, à 05:28"))
    assert faults(page, "fr") == {}
    page.close()


def test_the_checker_sees_broken_words_bare_rows_and_cut_charts(chromium):
    page = chromium.new_page()
    page.set_content(
        "<table><thead><tr><th>A</th></tr></thead><tbody><tr><td style='width:30px;"
        "max-width:30px;overflow-wrap:anywhere'>evaporator</td></tr></tbody></table>"
        "<svg width='60' height='20'><text x='2' y='15'>wider than its chart</text></svg>"
        "<div style='width:60px;overflow-x:auto'><p style='width:90px'>wide</p></div>"
    )
    assert checker.broken_words(page) == ["evaporator is broken"]
    assert len(checker.row_heads(page)) == 2
    assert checker.clipped(page) == ["wider than its chart reaches beyond its chart"]
    assert checker.sideways(page) == ["30 px wider than it shows: wide"]
    page.close()


NUMBERED = """<style>@page { @bottom-right { content: counter(page) ' / ' counter(pages) } }
tbody { break-before: page }</style>"""


def test_the_checker_sees_a_head_of_a_table_alone_above_the_number_of_its_sheet(chromium):
    page = chromium.new_page()
    page.set_content(
        f"{NUMBERED}<p>x</p><h2>Rows</h2><table><thead style='display: table-row-group'><tr>"
        "<th>What</th><th>How much</th></tr></thead><tbody><tr><td>y</td></tr></tbody></table>"
    )
    assert checker.orphan_headings(page) == ["page 1 ends with 'What How much'"]
    page.set_content(f"{NUMBERED}<p>x</p><h2>Rows</h2><table><tbody><tr><td>y</td></tr></table>")
    assert checker.orphan_headings(page) == ["page 1 ends with 'Rows'"]
    page.close()


def test_the_checker_sees_a_heading_alone_at_a_foot(chromium):
    page = chromium.new_page()
    page.set_content("<p>x</p><h2>Alone</h2><p style='break-before: page'>y</p>")
    assert checker.orphan_headings(page) == ["page 1 ends with 'Alone'"]
    page.close()
