"""What was noted beforehand is marked in every chart alike, and its words stay text."""

import re
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from pipeline.charts.control_chart import Titled, control
from pipeline.charts.known import Known, draw_into, in_hours, letter_of, marks_of, plant_clock, told
from pipeline.charts.season import season_chart

HOSTILE = "</text><script>alert(1)</script> =1+1 {{ 7*7 }}"
AT = datetime(2025, 10, 8, 3, tzinfo=UTC)
HOUR = timedelta(hours=1)
STOP = Known(AT, AT + 8 * HOUR, HOSTILE)
#: Blue of the marks; no other part of these two charts has it at full strength as a fill.
BLUE_BAR = 'fill="#0072b2"'


def season():
    days = [date(2025, 10, 6) + timedelta(days=n) for n in range(5)]
    columns = {"unavoidable_t": 1.0, "excess_t": 0.2, "excess_low_t": 0.1, "excess_high_t": 0.3}
    return pl.DataFrame({"day_local": days}).with_columns(
        pl.lit(value).alias(name) for name, value in columns.items()
    )


def test_the_season_marks_what_was_noted_of_its_days():
    later = Known(AT + 30 * 24 * HOUR, AT + 31 * 24 * HOUR, "after the season")
    chart = season_chart(season(), "", [later, STOP], ZoneInfo("America/Chicago"))
    bare = season_chart(season(), "", [later])
    for svg, plain in ((chart.wide, bare.wide), (chart.narrow, bare.narrow)):
        assert str(svg).count(BLUE_BAR) - str(plain).count(BLUE_BAR) == 2  # the bar and its letter
        assert "script" not in svg
        assert ">A</text>" in svg
    assert chart.note == f"Noted beforehand: A {HOSTILE}."
    assert bare.note == ""


def test_a_control_chart_marks_it_too():
    days = pl.DataFrame(
        {"day": [date(2025, 10, 6) + timedelta(days=n) for n in range(5)], "value": 1.0, "sd": 0.1}
    )
    drawn = control(days, 1.0, Titled("m", "t", "l", [STOP])).drawing
    assert ">A</text>" in drawn.wide
    assert drawn.note == f"Noted beforehand: A {HOSTILE}."
    assert control(days, 1.0, Titled("m", "t", "l")).drawing.note == ""


def test_a_mark_stands_at_plant_time():
    # 03:00 UTC is 22:00 of the day before in Chicago (tz database: CDT is UTC-5).
    (mark,) = marks_of([STOP], plant_clock(ZoneInfo("America/Chicago")))
    assert mark.start == datetime(2025, 10, 7, 22, tzinfo=UTC).timestamp() * 1000
    assert mark.end - mark.start == 8 * 3_600_000


@pytest.mark.parametrize(("number", "letter"), [(0, "A"), (25, "Z"), (26, "AA"), (52, "BA")])
def test_letters_go_on_behind_z(number, letter):
    assert letter_of(number) == letter


def test_what_touches_hours_comes_in_order_and_the_rest_is_counted():
    many = [Known(AT + n * HOUR, AT + (n + 1) * HOUR, f"n{n}") for n in reversed(range(40))]
    shown = in_hours(many, AT + HOUR, AT + 40 * HOUR)
    assert [item.words for item in shown[:2]] == ["n1", "n2"]
    assert told(shown).endswith("; and 9 more, all listed by lostpol note.")
    assert told(()) == ""


def test_a_mark_in_a_drawing_made_by_hand_keeps_its_words_as_text():
    root = ET.Element("svg")
    draw_into(root, (10.0, 10.5), 0.0, 60.0, ("A", HOSTILE))
    text = ET.tostring(root, encoding="unicode")
    assert "&lt;script&gt;" in text
    assert "<script" not in text
    # Something short can still be seen.
    assert re.search(r'<rect fill="#0072b2" x="10.0" y="0.0" width="3.0"', text)
