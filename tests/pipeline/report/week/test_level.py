"""The kinetic level in the weekly review, as page and text say it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl

from features.base import polars_schema
from models.level import COURSE_COLUMNS, EVERY_POINT, METHOD_COLUMNS
from pipeline.report.pages import page_of, text_of
from pipeline.report.week.level import level_words
from pipeline.report.week.week import compose_week

START = datetime(2025, 9, 8, 5, tzinfo=UTC)


def course(*values: float) -> pl.DataFrame:
    rows = [
        (START + timedelta(days=7 * n), value, 0.9 * value, 1.1 * value)
        for n, value in enumerate(values)
    ]
    return pl.DataFrame(rows, schema=polars_schema(COURSE_COLUMNS), orient="row")


METHODS = pl.DataFrame(
    [
        ("rs", "settler", 120, 3.1, 0.4, 5.8, None),
        ("rs", "<b>tank</b>", 40, -0.2, -0.9, 0.5, None),
        ("rs", EVERY_POINT, 88, 38.0, 35.2, 40.9, START + timedelta(days=10)),
    ],
    schema=polars_schema(METHOD_COLUMNS),
    orient="row",
)


def test_a_step_is_named_with_its_weeks(week):
    told = level_words(replace(week, level=course(1.5, 1.5, 2.1, 2.1), methods=METHODS))
    assert told.weeks[0] == ("Mon 8 Sep 2025", "1.50 (1.35 to 1.65)")
    assert "from 1.50 to 2.10, most between Mon 15 Sep 2025 and Mon 22 Sep 2025" in told.moved


def test_a_level_that_stays_is_said_to_stay(week):
    steady = replace(week, level=course(1.5, 1.52, 1.55), methods=METHODS)
    assert level_words(steady).moved == ""
    assert "No week can be told from the others." in text_of("week", compose_week(steady))


def test_methods_are_told_with_interval_and_verdict(week):
    told = replace(week, level=course(1.5), methods=METHODS)
    methods = level_words(told).methods
    assert methods[0] == ("Reducing sugars", "clear juice", "120", "3.1 % (0.4 to 5.8): high")
    assert methods[1][3] == "-0.2 % (-0.9 to 0.5): cannot be told from zero"
    assert "<b>tank" not in page_of("week", compose_week(told))


def test_a_step_of_all_results_is_told_with_its_day_and_what_became_of_it(week):
    told = replace(week, level=course(1.5), methods=METHODS)
    (step,) = level_words(told).steps
    assert step.startswith(
        "Reducing sugars stepped by 38.0 % (35.2 to 40.9) on Thu 18 Sep 2025, when another reagent"
    )
    assert "not taken for inversion" in step
    for text in (text_of("week", compose_week(told)), page_of("week", compose_week(told))):
        assert "stepped by 38" in text
    # A search of an older version kept no steps.
    older = replace(told, methods=METHODS.head(2).drop("since_utc"))
    assert level_words(older).steps == ()


def test_without_a_search_that_kept_it_nothing_is_said(week):
    assert level_words(week) is None
    assert "week by week" not in text_of("week", compose_week(week))


def test_weeks_keep_their_day_when_the_clocks_go_back(week):
    told = level_words(replace(week, level=course(*[1.5] * 10), methods=METHODS))
    # Chicago's clocks went back on Sun 2 Nov 2025 (tz database).
    assert [day for day, _ in told.weeks[-3:]] == [
        "Mon 27 Oct 2025",
        "Mon 3 Nov 2025",
        "Mon 10 Nov 2025",
    ]
