"""The night in other tongues: golden texts, one page, nothing left in English."""

from dataclasses import replace
from pathlib import Path

import pytest
from strange_tongue import STRANGE, left_in_english

from pipeline.charts import WIDE_STRIP, DayBar, Drawing, Lane, strip
from pipeline.report import night as night_words
from pipeline.report.night import compose_night
from pipeline.report.pages import page_of, text_of
from pipeline.tongue import LANGUAGES, tongue_of
from pipeline.words import CAUSES

#: What the night was given, not what was said here: names, a gap, where the level comes from.
_GIVEN = (
    "Brindlewater",
    "America/Chicago",
    "USD",
    "first evaporator",
    "Flocculant dose",
    "no juice density was given",
    "From 41 laboratory balances since 18 Aug",
    "lostpol",
    "UTC",
)


@pytest.fixture
def quick(monkeypatch):
    monkeypatch.setattr(night_words, "finding_tile", lambda *_: Drawing())


def told(night, tongue):
    return replace(night, report=replace(night.report, tongue=tongue))


@pytest.mark.parametrize("language", ["es", "pt", "fr"])
def test_wording_and_numbers_of_one_fixed_night(night, quick, language):
    tongue = tongue_of(language)
    text = text_of("night", compose_night(told(night, tongue)), tongue)
    assert text == Path(__file__).with_name(f"golden.{language}.txt").read_text("utf-8")


def test_nothing_of_a_night_stays_english(night):
    parts = compose_night(told(night, STRANGE))
    page = page_of("night", parts, STRANGE)
    # Names of months in a drawing are the drawing library's, by its locale.
    assert left_in_english(page, _GIVEN) <= {"Wed", "Thu", "Fri", "Sat", "Oct", "Sep"}
    assert not left_in_english(text_of("night", parts, STRANGE), _GIVEN)


def test_a_night_in_another_language_says_so_and_is_escaped(night, quick):
    tongue = tongue_of("fr")
    hostile = replace(night.report, mill="<script>x</script>", tongue=tongue)
    page = page_of("night", compose_night(replace(night, report=hostile)), tongue)
    assert '<html lang="fr"' in page
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_cause_has_room_left_of_its_lane(language):
    names = [words.name.partition(",")[0] for words in CAUSES.values()]
    lanes = [Lane(name, ((0.0, 1.0),)) for name in names]
    tongue = tongue_of(language)
    drawn = strip([DayBar(0, 1.0, 0.5, 2.0)], ["1"], lanes, "x", WIDE_STRIP, tongue)
    assert "…" not in drawn
