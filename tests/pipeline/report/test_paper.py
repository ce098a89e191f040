"""What is printed: nothing only a screen can do, axes and numbers on sheets, whole intervals."""

import shutil

import paper_checker as checker
import pytest
from chromium import IN_CHROMIUM, opened
from desks import desk_for, running

from pipeline.base import Window, now
from pipeline.cli.period_show import write_page
from pipeline.dossier import write_dossier
from pipeline.mill.description import load_mill
from pipeline.period import answer, beside_of
from pipeline.present import write_season_report
from pipeline.present.view import latest_run
from pipeline.store.folders import store_of

pytestmark = IN_CHROMIUM
PAGES = ("season", "dossier", "period")
VIEWS = ("", "waiting", "verdicts", "finding/{first}", "period?from={start}&to={end}")
EVERYWHERE = (checker.screen_only, checker.parted_ends, checker.wrong_bars, checker.unnumbered)


@pytest.fixture(scope="module")
def mill(searched, tmp_path_factory):
    folder = tmp_path_factory.mktemp("paper") / "mill"
    shutil.copytree(searched, folder)
    return load_mill(folder / "demo_mill.toml")


@pytest.fixture(scope="module")
def found(mill):
    return store_of(mill).findings().row(0, named=True)


@pytest.fixture(scope="module")
def written(mill, found):
    """Pages of one mill by name."""
    run = latest_run(mill)
    hours = Window(found["started"], found["ended"])
    return {
        "dossier": write_dossier(mill, found["finding_id"]),
        "period": write_page(answer(mill, hours, beside_of("usual", mill.tz, now())), None),
        "season": write_season_report(mill, Window(run["window_start"], run["window_end"])),
    }


@pytest.fixture(scope="module")
def desk(mill, found):
    """Address of a desk that runs, and what its addresses are filled with."""
    times = {"start": found["started"], "end": found["ended"]}
    filling = {name: moment.strftime("%Y-%m-%dT%H:%MZ") for name, moment in times.items()}
    with running(desk_for([mill])) as address:
        yield f"{address}/m/brindlewater/", filling | {"first": found["finding_id"]}


def faults(page):
    return {check.__name__: wrong for check in EVERYWHERE if (wrong := check(page))}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_fit_for_paper(chromium, written, name):
    page, _, _ = opened(chromium, written[name], 1280)
    assert faults(page) == {}
    assert checker.sheets_without_axis(page) == []
    page.close()


@pytest.mark.parametrize("view", VIEWS)
def test_a_view_of_the_desk_is_fit_for_paper(chromium, desk, view):
    base, filling = desk
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    page.goto(base + view.format(**filling), wait_until="networkidle")
    assert faults(page) == {}
    assert checker.sheets_without_axis(page) == []
    page.close()


@pytest.mark.slow
def test_a_phone_is_told_of_no_keys(chromium, desk):
    base, filling = desk
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    for view in VIEWS:
        page.goto(base + view.format(**filling), wait_until="networkidle")
        seen = (
            "[...document.querySelectorAll('kbd, span.by-hand')].filter(e => e.checkVisibility())"
        )
        assert page.evaluate(f"{seen}.map(e => e.textContent)") == []
    page.close()


FAULTY = """<body><main><table class="shares"><tbody>
<tr><th>a</th><td><svg viewBox="0 0 100 10"><rect x="0" width="30" height="8"/></svg></td>
<td class="num">{number} (held it down)</td></tr></tbody></table>
<table><tr><td style="width: 4rem">{words}</td></tr></table>
<p>{link}</p></main></body>"""


@pytest.mark.parametrize(
    ("number", "words", "link", "fault"),
    [
        ("3 %", "plain", "plain", ""),
        ("-3 %", "plain", "plain", "wrong_bars"),
        ("0.0 t", "plain", "plain", "wrong_bars"),
        ("3 %", "0.25 (0.10 to 0.40)", "plain", "parted_ends"),
        ("3 %", "on a Mon 23 Nov", "plain", "parted_ends"),
        ("3 %", "plain", "<a href='#x'>see why</a>", "screen_only"),
        ("3 %", "plain", "<span class='on-screen'>move a slider</span>", "screen_only"),
    ],
)
def test_the_checker_sees_what_is_wrong(chromium, number, words, link, fault):
    page = chromium.new_page()
    page.set_content(FAULTY.format(number=number, words=words, link=link))
    seen = [check.__name__ for check in EVERYWHERE[:3] if check(page)]
    assert seen == ([fault] if fault else [])
    assert checker.unnumbered(page) == ["page 1"]
    page.close()
