"""Labels of a time axis: days said in every language, none over another, none cut."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from pipeline.charts import NARROW, WIDE, Panel, Series, TimeAxis, draw, stack
from pipeline.tongue import LANGUAGES, tongue_of

START = datetime(2025, 10, 19, 18, tzinfo=UTC)
HOUR_MS = 3_600_000


def axis_of(hours: float) -> TimeAxis:
    low = round(START.timestamp() * 1000)
    high = round((START + timedelta(hours=hours)).timestamp() * 1000)
    return TimeAxis((low, high), (low, low))


@pytest.mark.parametrize("size", [NARROW, WIDE])
@pytest.mark.parametrize("hours", [3, 9, 22, 40, 54, 99, 240, 1344])
def test_labels_have_room(size, hours):
    axis = axis_of(hours)
    a_px = (axis.window[1] - axis.window[0]) / size.width
    ticks = axis.ticks(size)
    assert ticks
    # Twelve letters of a day, five of an hour, each some 0.56 of the font's height.
    half = [(12 if t % (24 * HOUR_MS) == 0 else 5) * 0.28 * size.font * a_px for t in ticks]
    assert ticks[0] - half[0] >= axis.window[0]
    assert ticks[-1] + half[-1] <= axis.window[1]
    for i in range(len(ticks) - 1):
        assert ticks[i + 1] - half[i + 1] > ticks[i] + half[i]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("size", [NARROW, WIDE])
def test_a_drawing_of_four_days_names_more_than_one_of_them(size, language):
    axis = axis_of(99)
    points = [(axis.window[0] + i * HOUR_MS, float(i % 7)) for i in range(99)]
    drawing = stack([Panel("x", [Series("x", points)])], axis, size)
    drawn = str(draw(drawing, "a", "a", tongue_of(language)))
    shown = re.findall(
        r"<text[^>]*>([^<]*)</text>", re.sub(r"<text[^>]*opacity=\"0\".*?</text>", "", drawn)
    )
    days = [words for words in shown if re.search(r"\b2[0-3]\b", words) and " " in words]
    assert len(days) >= 2, shown
