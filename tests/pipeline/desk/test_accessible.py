"""Every view of the desk, and the pages it opens, before a well-kept checker of accessibility.

axe-core (Deque Systems; rules of WCAG 2.2 A and AA, and good practice), as a wheel brings it.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe
from chromium import IN_CHROMIUM
from desks import desk_for, running
from slow_case import slow

from pipeline.base.window import Window
from pipeline.desk.address import span, stamp
from pipeline.period.notes import note_of
from pipeline.stages.calendar import keep_note

pytestmark = IN_CHROMIUM
KEY = "brindlewater"
GRAVE = ("serious", "critical")
#: Views that are looked at in both schemes and widths; the others share style and parts with them.
BOTH = ("season", "period", "finding", "verdicts")


@pytest.fixture
def views(mine, first):
    """Address of each view, with a note in it and a verdict to be given."""
    hours = {"from": first["started"].isoformat(), "to": first["ended"].isoformat()}
    keep_note(mine, note_of(mine, hours | {"text": "planned", "kind": "trial"}, "here"))
    own = Window(first["started"], first["ended"])
    period = f"period?from={stamp(own.start)}&to={stamp(own.end)}"
    name = first["finding_id"]
    with running(desk_for([mine])) as address:
        base = f"{address}/m/{KEY}/"
        yield {
            "season": base,
            "lanes": f"{base}?tag=all&pick={span(own)}",
            "question": f"{base}period",
            "period": base + period,
            "what if": f"{base}what-if{period.removeprefix('period')}&by.ph_limed=0.1",
            "finding": f"{base}finding/{name}",
            "dossier": f"{base}finding/{name}/dossier",
            "waiting": f"{base}waiting",
            "verdicts": f"{base}verdicts",
            "reports": f"{base}reports/",
            "fault": f"{base}period?from=never&to=x",
        }


def grave(page):
    """What the checker holds to be a serious fault of a page."""
    found = Axe().run(page).response["violations"]
    return [
        (fault["id"], [node["html"][:120] for node in fault["nodes"][:3]])
        for fault in found
        if fault["impact"] in GRAVE
    ]


def test_the_checker_sees_a_fault_where_there_is_one(chromium):
    page = chromium.new_page()
    page.set_content(
        '<main><h1>x</h1><p style="color:#bbb;background:#fff">too pale</p><input></main>'
    )
    assert {name for name, _ in grave(page)} >= {"color-contrast", "label"}
    page.close()


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), slow(390, "dark")])
def test_no_view_has_a_serious_fault(chromium, views, width, scheme):
    page = chromium.new_page(viewport={"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    faults = {}
    for name, address in views.items():
        if scheme == "light" or name in BOTH:
            page.goto(address)
            if found := grave(page):
                faults[name] = found
    page.close()
    assert faults == {}
