"""What-if sliders of the desk: the replay of the command, and refusals in words."""

import re
from datetime import timedelta
from urllib.parse import urlencode

import pytest
from pages import Words

from pipeline.base.window import Window
from pipeline.desk.address import stamp
from pipeline.replay import replay, replay_lines, replay_told

KEY = "/m/brindlewater"


def asked(first, **by):
    start = first["started"].replace(second=0, microsecond=0)
    window = Window(start, start + timedelta(hours=6))
    query = {"from": stamp(window.start), "to": stamp(window.end)}
    return window, f"{KEY}/what-if?" + urlencode(query | {f"by.{k}": v for k, v in by.items()})


def test_a_slider_answers_as_the_command_does(shown, mill, first):
    window, address = asked(first, ph_limed="0.1")
    text = Words(shown.get(address).text).text
    for line in list(replay_lines(replay(mill, window, ["ph_limed=+0.1"])))[1:5]:
        assert " ".join(line.split()) in " ".join(text.split())
    assert "trained and licensed people" in text


def test_the_vessels_of_an_answer_add_up_to_its_sum(mill, first):
    window, _ = asked(first)
    *parts, total = replay_told(replay(mill, window, ["ph_limed=+0.1"])).vessels
    for column in (1, 2):
        added = sum(float(row[column]) for row in parts)
        assert added == pytest.approx(float(total[column]), abs=0.0006 * len(parts))


def test_the_answer_begins_with_the_change_and_what_it_saved(shown, mill, first):
    window, address = asked(first, ph_limed="0.1")
    told = replay_told(replay(mill, window, ["ph_limed=+0.1"]))
    text = " ".join(Words(shown.get(address).text).text.split())
    assert f"{told.change} {told.saved}" in text
    assert text.index("By vessel") > text.index("Costs beside it") > text.index(told.saved)


def test_a_slider_tells_its_change_with_a_sign(shown, first):
    _, address = asked(first, ph_limed="0.1")
    told = re.findall(r"<output>([^<]*)</output>", shown.get(address).text)
    assert told[0] == "+0.1"
    assert {words.replace("\u00a0", " ") for words in told[1:]} == {"± 0"}


def test_sliders_in_the_middle_ask_nothing(shown, first):
    _, address = asked(first, ph_limed="0")
    assert "Nothing is changed: move a slider." in Words(shown.get(address).text).text


def test_what_the_mill_has_never_run_is_refused_on_the_page(shown, first):
    _, address = asked(first, **{"settler.temp_degc": "-4", "first_evaporator.temp_degc": "4"})
    answer = shown.get(address)
    assert answer.status_code == 200
    assert 'role="alert"' in answer.text
    assert "outside what can be answered for" in Words(answer.text).text


@pytest.mark.parametrize("value", ["9", "nan", "<script>", "inf"])
def test_a_change_that_no_slider_makes_is_an_error_in_words(shown, first, value):
    _, address = asked(first, ph_limed=value)
    answer = shown.get(address)
    assert answer.status_code == 400
    assert "Give a number from -0.4 to 0.4" in Words(answer.text).text
    assert "<script>'" not in answer.text


def test_the_period_offers_the_sliders_without_running_anything(shown, first):
    _, address = asked(first)
    page = shown.get(address.replace("what-if", "period"))
    assert 'id="what-if-form"' in page.text
    assert page.text.count('type="range"') == 5
