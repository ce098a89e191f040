"""Day, month and year in which order, decided by all rows. The calendar is Python's own."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl
import pytest

from pipeline.base import DataError
from pipeline.cells import moments, time_formats


def stamps(pattern, start, count=32, step_min=90):
    first = datetime.fromisoformat(start)
    return [(first + timedelta(minutes=step_min * k)).strftime(pattern) for k in range(count)]


def read(texts):
    times = pl.Series(texts)
    naive, _ = moments(times, time_formats("a file", times), given=False)
    return naive.to_list()


@pytest.mark.parametrize(
    ("pattern", "start"),
    [
        ("%d/%m/%Y %H:%M", "2025-03-13 00:30"), ("%m/%d/%Y %H:%M", "2025-03-13 00:30"),
        ("%d/%m/%y %H:%M", "2025-03-13 00:30"), ("%y-%m-%d %H:%M", "2024-07-08 00:30"),
        ("%y/%m/%d %H:%M", "2025-03-13 00:30"), ("%y.%m.%d %H:%M", "2025-03-13 00:30"),
        ("%d.%m.%y %H:%M", "2025-03-13 00:30"), ("%d.%m.%y %H:%M", "2024-07-08 00:30"),
        ("%m/%d/%y %I:%M %p", "2025-03-13 00:30"), ("%d/%m/%Y %H:%M", "2025-01-31 00:30"),
    ],
)  # fmt: skip
def test_the_record_itself_tells(pattern, start):
    texts = stamps(pattern, start)
    assert read(texts) == [
        datetime.fromisoformat(start) + timedelta(minutes=90 * k) for k in range(32)
    ]


@pytest.mark.parametrize(
    "pattern", ["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%d-%m-%y %H:%M", "%m/%d/%y %H:%M"]
)
@pytest.mark.parametrize(
    "stray", [None, "31/12/9999 00:00", "12/31/9999 00:00", "17/02/2025 10:00", "02/17/2025 10:00",
              "31/12/1899 00:00"],
)  # fmt: skip
def test_two_days_that_can_be_either_are_asked_about_with_and_without_a_stray(pattern, stray):
    texts = stamps(pattern, "2025-03-04 00:30")
    if stray is not None:
        texts.append(stray if "%Y" in pattern else stray.replace("2025", "25"))
    with pytest.raises(DataError, match=r"can be read as .* or as .*") as caught:
        read(texts)
    assert "time_format" in caught.value.next_step


@pytest.mark.parametrize("stray", ["31/12/9999 00:00", "17/02/2025 10:00"])
def test_a_stray_does_not_undo_what_the_file_tells(stray):
    texts = stamps("%m/%d/%Y %H:%M", "2025-03-13 00:30")
    *found, last = read([*texts, stray])
    assert found[0] == datetime(2025, 3, 13, 0, 30)  # noqa: DTZ001
    assert last is None


def test_a_few_rows_above_twelve_that_run_on_decide():
    # Twelve days below the thirteenth, then two hours of it.
    texts = stamps("%d/%m/%Y %H:%M", "2025-03-10 00:00", count=75, step_min=60)
    assert read(texts)[-1] == datetime(2025, 3, 13, 2)  # noqa: DTZ001
    weekly = stamps("%d/%m/%Y %H:%M", "2025-03-03 08:00", count=4, step_min=7 * 24 * 60)
    assert read(weekly)[-1] == datetime(2025, 3, 24, 8)  # noqa: DTZ001


def test_a_whole_day_above_twelve_decides():
    texts = stamps("%d/%m/%Y %H:%M", "2025-03-13 00:00", count=8, step_min=60)
    assert read(texts)[0] == datetime(2025, 3, 13)  # noqa: DTZ001


@pytest.mark.parametrize(
    "text",
    [
        "13 March 2025 10:30", "March 13, 2025 10:30 AM", "13-Mar-25 10:30", "13MAR2025:10:30:00",
        "Thu 13 Mar 2025 10:30", "Thursday, March 13, 2025 10:30 AM", "2025-Mar-13 10:30",
        "Thu Mar 13 10:30:00 2025", "13 de marzo de 2025 10:30", "13 de março de 2025 10:30",
        "13 mars 2025 10:30", "jeu. 13 mars 2025 10:30", "13. März 2025 10:30",
        "13-Mrz-2025 10:30", "13.03.2025 10:30 Uhr", "13/03/2025 10:30 a. m.",
    ],
)  # fmt: skip
def test_one_moment_in_many_words(text):
    assert read([text]) == [datetime(2025, 3, 13, 10, 30)]  # noqa: DTZ001


def test_every_month_of_five_languages():
    # CLDR, calendars/gregorian/months/format/wide of en, es, pt, fr, de (memory).
    for names in (
        "January February March April May June July August September October November December",
        "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
        "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro",
        "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
        "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    ):
        found = read([f"7 {name} 2025 08:00" for name in names.split()])
        assert found == [datetime(2025, m, 7, 8) for m in range(1, 13)]  # noqa: DTZ001


def test_a_weekday_short_for_a_month_is_none():
    assert read(["mar. 13 mai 2025 08:00"]) == [datetime(2025, 5, 13, 8)]  # noqa: DTZ001
