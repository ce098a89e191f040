"""The page of a draft: every tag once, every question and file, counts that add up, text only."""

import re
from dataclasses import replace

import numpy as np
import pytest
from drafts import BAD, START, full_draft, hostile_draft, tag, wide_draft
from pages import Words

from pipeline.base.errors import ConfigError
from pipeline.cli.app import run
from pipeline.describe.draft import Draft
from pipeline.describe.page import draft_page, write_page
from pipeline.describe.sheet import traces as tracing
from pipeline.describe.sheet.doubts import headline
from pipeline.describe.sheet.stops import sort_draft
from pipeline.describe.sheet.traces import Traced, Traces
from pipeline.words.points import analyte_words, point_words


@pytest.fixture(scope="module")
def draft():
    return full_draft()


@pytest.fixture(scope="module")
def html(draft):
    return draft_page(draft)


@pytest.fixture(scope="module")
def hostile():
    return draft_page(hostile_draft())


def names_on(html):
    """Names of tags and laboratory series, as the page tells them."""
    return [Words(name).text for name in re.findall(r'<bdi class="tag">(.*?)</bdi>', html)]


def headline_of(draft):
    tags = [g.tag for g in draft.guesses] + [s.tag for s in draft.lab]
    return headline(draft, sort_draft(draft, Traces(tags, draft.zone, most=0)))


def test_every_tag_and_series_stands_once(draft, html):
    tags = [g.tag.name for g in draft.guesses] + [s.tag.name for s in draft.lab]
    assert sorted(names_on(html)) == sorted(tags)
    assert html.count('class="trace"') == len(tags)


def test_every_name_of_a_hostile_draft_stands_once(hostile):
    assert len(names_on(hostile)) == 8
    assert names_on(hostile).count(BAD) == 1


def test_partners_stand_in_the_card_of_their_tag(html):
    card = next(c for c in html.split("<article")[1:] if ">LM-<wbr>AIT-7<" in c)
    assert names_on(card) == ["LM-AIT-7", "LM-AIT-7B", "LM-AIC-7.SP"]
    words = Words(card).text
    assert "second instrument" in words
    assert "set-point" in words
    assert "“pH after liming”" in words
    assert "limed juice pH perhaps: CONFIRM" in words
    assert "it changes in steps" in words
    assert "3 bad" in words


def test_stops_follow_the_juice(html):
    titles = re.findall(r"<h3><bdi>(.*?)</bdi></h3>", html.split('id="tags"')[1])
    flow = ["Mixed juice", "Primary heater", "Liming tank", "Secondary heater", "Flash tank"]
    flow += ["Settler", "Mud", "Filter cake", "Clear-juice tank", "Clear-juice heater"]
    assert [title.replace("<wbr>", "") for title in titles[:11]] == [*flow, "First evaporator"]


def test_questions_files_vessels_and_what_is_missing_are_told(draft, html):
    words = Words(html).text
    for question in draft.questions:
        assert question.words in words
        assert all(meaning in words for _, meaning in question.answers)
    assert words.count("taken for now: CONFIRM") == 1
    assert words.count("answered by you") == 1
    for verdict in draft.files:
        assert verdict.name in words
        assert verdict.words in words
    assert words.index("holiday_list.pdf") < words.index("not readit holds no table")
    assert "300.0 m³, 200 m² settling area" in words
    assert draft.vessels[1].matters in words
    assert "turbidity of clear juice" in words
    assert "carry-over is not seen" in words


def test_laboratory_points_tell_basis_and_how_the_sample_was_taken(html):
    words = Words(html.split('id="laboratory"')[1]).text
    assert words.index("Clear juice (settler, outlet)") < words.index("Filter cake")
    assert "reducing sugars on solids, composite over 24 h" in words
    assert "pH, grab" in words
    assert words.index("Series without a place") < words.index("Boiler silica")


def test_printed_counts_are_those_of_the_draft(draft, html):
    words = Words(html).text
    head = headline_of(draft)
    assert f"{draft.placed} of 11" in words
    numbers = [int(part.split()[0]) for part in head.parts]
    assert sum(numbers) == head.total == len(draft.guesses) + len(draft.lab) == 11
    # The asked question, two tags (one not sure, one without a unit), a series without a unit,
    # and the volume of the settler.
    assert head.confirms == 5
    assert f"{head.confirms} things to confirm" in words
    assert sum(int(part.split()[0]) for part in head.confirm_parts) == head.confirms


def test_the_boxes_to_tick_are_as_many_as_things_to_confirm(draft, html):
    # Ticked or not, a box stands before each thing that is counted.
    assert html.count("□") == headline_of(draft).confirms


def test_the_worst_doubt_comes_first(draft):
    def worst(changed):
        return headline_of(changed).doubts[0]

    assert worst(replace(draft, guesses=())).startswith("No juice flow")
    assert worst(draft) == "lab.xlsx: Are its times local? Taken for now: local."
    settled = replace(draft, questions=draft.questions[1:])
    assert worst(settled).startswith("Whether LM-AIT-7 is the limed juice pH")
    sure = replace(draft.guesses[1], sure="likely")
    known = replace(settled, guesses=(draft.guesses[0], sure, *draft.guesses[2:]))
    assert "settler is a guess: 300.0 m³" in worst(known)
    assert worst(known).endswith("Half as large again: 45 % more tonnes.")
    measured = tuple(replace(v, guessed=False) for v in draft.vessels)
    assert headline_of(replace(known, vessels=measured)).doubts == ()


def test_text_of_exports_stays_text(hostile):
    found = Words(hostile)
    assert not {"script", "img", "iframe", "object", "embed"} & set(found.tags)
    assert found.tags.count("link") == 1  # the page's own, for an empty icon
    assert not [name for name in found.attributes if name.startswith("on")]
    assert "\u202e" not in hostile
    assert "\x07" not in hostile
    assert "{{7*7}}" in found.text
    assert hostile.count("<style>") == hostile.count("</style>") == 1


@pytest.mark.parametrize("made", [full_draft, hostile_draft])
def test_nothing_outside_is_referred_to(made):
    page = draft_page(made())
    refers = re.findall(r'(?:href|src|action|srcset|data)="([^"]*)"', page)
    assert all(where.startswith("#") or where == "data:," for where in refers)
    # Names of XML vocabularies are no addresses that anything asks for.
    assert set(re.findall(r"https?://[^\"'\s<]+", page)) <= {"http://www.w3.org/2000/svg"}
    anchors = set(re.findall(r'id="([^"]+)"', page))
    assert all(where[1:] in anchors for where in refers if where.startswith("#"))


def test_ids_are_unique(html):
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_too_many_tags_are_all_told_and_some_drawn(monkeypatch):
    monkeypatch.setattr(Traces.__init__, "__defaults__", (4,))
    page = draft_page(wide_draft())
    assert len(names_on(page)) == 200
    assert page.count("Two weeks of") == 4
    assert page.count("Not drawn: a page holds 4 traces.") == 196
    assert "No juice flow was recognised" in page


def test_an_empty_draft_has_a_page():
    words = Words(draft_page(Draft("", (), ()))).text
    assert "neither tags nor laboratory series" in words
    assert "No vessel was drafted" in words


@pytest.mark.parametrize("value", [0.0, 1e-9, -4000.0, 1e300, 7.25])
def test_a_tag_that_never_moves_is_drawn(value):
    still = replace(tag("still"), value=np.full(1200, value), low=value, middle=value, high=value)
    svg, _ = Traces([still], "UTC").draw([Traced(still)], "x")
    assert svg is not None
    assert "NaN" not in svg


def test_traces_show_the_last_two_weeks_and_say_where_a_tag_ends_before():
    long = tag("long", n=60 * 72)  # sixty days from 6 October 2025
    early = tag("early", n=72)
    traces = Traces([long, early], "America/Chicago")
    assert traces.window[1] - traces.window[0] == 14 * 1440
    # 60 days on is 5 December 00:00 UTC, less one gap: still 4 December in Chicago.
    assert traces.words == "Thu 20 Nov 2025 to Thu 4 Dec 2025"
    svg, note = traces.draw([Traced(long)], "x")
    assert svg is not None
    assert note == ""
    svg, note = traces.draw([Traced(early)], "x")
    assert svg is not None
    assert note == "Its readings end on Mon 6 Oct 2025; other days."


def test_a_held_value_reaches_from_edge_to_edge():
    minute = START + np.array([0, 30 * 1440, 35 * 1440])
    held = replace(tag("sp", n=3), minute=minute, value=np.array([7.0, 7.5, 7.6]))
    span = ((START + 28 * 1440) * 60_000, (START + 42 * 1440) * 60_000)
    line = tracing._panel([Traced(held, "set_point", held=True)], span, 0).series[0].points
    assert line[0] == (span[0], 7.0)
    assert line[-1] == (span[1], 7.6)
    assert [value for _, value in line] == [7.0, 7.0, 7.5, 7.5, 7.6, 7.6]


@pytest.mark.slow
def test_a_page_is_never_overwritten(draft, tmp_path):
    out = tmp_path / "draft.html"
    write_page(draft, out)
    kept = out.read_bytes()
    with pytest.raises(ConfigError, match="such a file already"):
        write_page(draft, out)
    assert out.read_bytes() == kept
    with pytest.raises(ConfigError, match="cannot be written"):
        write_page(draft, tmp_path / "nowhere" / "draft.html")


@pytest.mark.parametrize("theme", [0, 1])
def test_words_stand_out_from_the_paper(html, theme):
    """Contrast of text is 4.5 at least: W3C, WCAG 2.2, success criterion 1.4.3 and its formula."""

    def luminance(colour):
        colour = colour if len(colour) == 6 else "".join(2 * c for c in colour)
        parts = [int(colour[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    root = re.findall(r":root \{(.*?)\}", html)[theme]
    colours = dict(re.findall(r"--(\w+): #(\w+)", root))
    for words in ("ink", "soft", "mark"):
        for ground in ("paper", "band"):
            pair = sorted(luminance(colours[name]) for name in (words, ground))
            assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (words, ground)


@pytest.mark.parametrize(
    ("point", "words"),
    [
        (("ph", "liming_tank", "out"), "limed juice pH"),
        (("ph", "settler", "out"), "clear juice pH"),
        (("flow", "settler", "mud"), "mud flow"),
        (("flow", "settler", "in"), "juice flow into the settler"),
        (("flow", "filtrate", ""), "filtrate flow"),
        (("temperature", "primary_heater", "out"), "temperature out of the primary heater"),
        (("level", "liming_tank", ""), "level in the liming tank"),
        (("mud_level", "settler", "mud"), "mud level in the settler"),
        (("lime_flow", "liming_tank", "in"), "milk of lime"),
    ],
)
def test_points_are_said_as_the_trade_says_them(point, words):
    assert point_words(*point) == words


def test_analyses_say_what_they_are_a_share_of():
    assert analyte_words("rs") == "reducing sugars on juice"
    assert analyte_words("rs", "pol") == "reducing sugars on pol"


def test_the_command_writes_the_page_beside_the_description(tmp_path, capsys):
    times = [f"2025-10-06 {h:02d}:{m:02d}" for h in range(24) for m in range(0, 60, 5)]
    rows = [f"{time},{97 + n % 7 / 10}" for n, time in enumerate(times)]
    (tmp_path / "one.csv").write_text("\n".join(["time,TI-7", *rows]), encoding="utf-8")
    out = tmp_path / "mill.toml"
    command = ["describe", str(tmp_path / "one.csv"), "--zone", "America/Chicago", "--page"]
    assert run([*command, "--out", str(out)]) == 0
    page = tmp_path / "mill.html"
    said = capsys.readouterr().out.splitlines()
    assert f"Written: {out}" in said
    assert f"Page to confirm it on, in any browser or printed: {page}" in said
    # What comes next can be copied as it stands.
    assert f"  lostpol check {out} {tmp_path / 'one.csv'}" in said
    assert f"  lostpol pull {out} {tmp_path / 'one.csv'}" in said
    assert names_on(page.read_text("utf-8")) == ["TI-7"]
    kept = page.read_bytes()
    out.unlink()
    assert run([*command, "--out", str(out)]) == 2
    assert not out.exists()
    assert page.read_bytes() == kept
    other = tmp_path / "other.html"
    assert run([*command[:-1], "--out", str(out), "--page-out", str(other)]) == 0
    assert other.exists()
