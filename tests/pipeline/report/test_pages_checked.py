"""Every page of a searched mill: sums, baselines, levels, units, names; nothing blank or covered.

One mill for all, the one that desk and dossier are tried on; charts take most of the time.
"""

import shutil

import page_checker as checker
import pytest
from chromium import IN_CHROMIUM, opened
from desks import client_of, desk_for

from pipeline.base import Window
from pipeline.dossier import write_dossier
from pipeline.mill.description import load_mill
from pipeline.present import write_night_report, write_season_report, write_week_report
from pipeline.present.view import latest_run
from pipeline.run import night_of, week_of
from pipeline.store.folders import store_of

pytestmark = IN_CHROMIUM
#: Pages and the fewest totals each must print.
PAGES = {"nightly": 0, "weekly": 7, "keeper": 0, "backfill": 2, "dossier": 0}
PHONE, SCREEN_PX, MOST_SCREENS = 390, 844, 15
_WORDS = (
    checker.sums,
    checker.told_twice,
    checker.baselines,
    checker.intervals,
    checker.units,
    checker.internal_names,
)


@pytest.fixture(scope="session")
def written(searched, tmp_path_factory):
    """All pages of one mill, by name."""
    folder = tmp_path_factory.mktemp("checked")
    shutil.copytree(searched, folder / "mill")
    mill = load_mill(folder / "mill" / "demo_mill.toml")
    run = latest_run(mill)
    window = Window(run["window_start"], run["window_end"])
    week = write_week_report(mill, week_of(mill, window))
    first = store_of(mill).findings()["finding_id"][0]
    return {
        "nightly": write_night_report(mill, night_of(mill, window)),
        "weekly": week,
        "keeper": week.with_name("keeper.html"),
        "backfill": write_season_report(mill, window),
        "dossier": write_dossier(mill, first),
    }


@pytest.mark.parametrize("name", PAGES)
def test_a_page_keeps_its_word(chromium, written, name):
    page, _, _ = opened(chromium, written[name], 1280)
    found = {check.__name__: wrong for check in _WORDS if (wrong := check(page))}
    assert found == {}
    assert checker.count_of_totals(page) >= PAGES[name]
    page.close()


@pytest.mark.parametrize("name", PAGES)
def test_no_words_lie_over_others_and_no_third_of_a_sheet_is_blank(chromium, written, name):
    for width in (PHONE, 1280):
        page, _, _ = opened(chromium, written[name], width)
        page.evaluate("document.querySelectorAll('input.fold').forEach(e => { e.checked = true })")
        assert checker.text_over_text(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if width > PHONE:
            assert checker.empty_thirds(page) == []
        page.close()


def test_the_desk_keeps_its_word(chromium, written):
    mill = load_mill(written["backfill"].parents[2] / "demo_mill.toml")
    client = client_of(desk_for([mill], view_only=True))
    first = store_of(mill).findings()["finding_id"][0]
    for path in ("/m/brindlewater/", f"/m/brindlewater/finding/{first}"):
        page = chromium.new_page()
        page.set_content(client.get(path).text)
        checks = (checker.baselines, checker.intervals, checker.units)
        found = {check.__name__: wrong for check in checks if (wrong := check(page))}
        assert found == {}
        page.close()


BROKEN = """<body><section><h2>A day</h2>
<table><thead><tr><th>Cause</th><th>Lost</th></tr></thead><tbody>
<tr><th>Acid</th><td data-part="all">1.2 t</td></tr>
<tr><th>In no finding</th><td data-part="all">0.4 t better</td></tr>
<tr><th>All</th><td data-total="all">{total}</td></tr></tbody></table>
<p>{more}</p></section></body>"""


@pytest.mark.parametrize(
    ("total", "more", "fault"),
    [
        ("0.8 t", "Above the usual.", ""),
        ("0.9 t", "Above the usual.", ""),  # within the rounding of three numbers
        ("1.6 t", "Above the usual.", "sums"),
        ("0.8 t", "", "baselines"),
        ("0.8 t", "Above the usual 2.0 t (1.0 to 3.0).", "intervals"),
        ("0.8 t", "Above the usual, 90 % interval, 2.0 (1.0 to 3.0).", "units"),
        ("0.8 t", "Above the usual in the liming_tank.", "internal_names"),
        ("0.8 t", "Above the usual, 72 degC.", "internal_names"),
        ("0.8 t", "Above the usual. <b data-same='all'>0.7 t</b>", "told_twice"),
    ],
)
def test_the_checker_sees_what_is_wrong(chromium, total, more, fault):
    page = chromium.new_page()
    page.set_content(BROKEN.format(total=total, more=more))
    assert [check.__name__ for check in _WORDS if check(page)] == ([fault] if fault else [])
    page.close()


def test_the_checker_sees_covered_words_and_blank_sheets(chromium):
    page = chromium.new_page()
    page.set_content(
        "<p style='margin:0'>under</p><p style='margin:-18px 0 0'>over it</p>"
        "<div style='height:600px'></div><p style='break-after: page'>x</p><p>y</p>"
    )
    assert checker.text_over_text(page) == ["'under' over 'over it'"]
    assert checker.empty_thirds(page) == ["page 1: 59% blank in one piece"]
    page.close()
