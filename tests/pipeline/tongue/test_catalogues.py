"""The catalogues: complete, true to their messages, and in the trade's own words."""

import csv
import re

import pytest
from babel.messages.pofile import read_po
from catalogues import CATALOGUES, LANGUAGES, extracted, sentences_kept

from pipeline.tongue import tongue_of
from pipeline.words import said

_PLACE = re.compile(r"\{\w+\}")
_TAG = re.compile(r"</?\w+[^<>]*>")
#: What has to be typed as it stands, and what is written alike everywhere.
_KEPT = re.compile(
    r"lostpol (?:backfill|explain|findings|health|levers|note|nightly|period|pull|replay|standing"
    r"|verdict)\b|MILL (?:FINDING|ID)|\bpH\b|[a-z]+_[a-z_]+"
)


@pytest.fixture(scope="module")
def messages():
    return extracted()


def catalogue(language):
    with (CATALOGUES / f"{language}.po").open("rb") as file:
        return read_po(file, locale=LANGUAGES[language])


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_of_the_sources_has_words(language, messages):
    held = {m.id if isinstance(m.id, str) else tuple(m.id): m for m in catalogue(language) if m.id}
    cure = "run python tests/helpers/catalogues.py and find words for what is new"
    assert set(held) == set(messages), cure
    lacking = [key for key, m in held.items() if m.fuzzy or not all(_forms(m))]
    assert not lacking, cure


def _forms(message):
    return (message.string,) if isinstance(message.string, str) else message.string


@pytest.mark.parametrize("language", LANGUAGES)
def test_words_have_the_places_and_the_marks_of_their_message(language):
    for message in catalogue(language):
        if not message.id:
            continue
        own = message.id if isinstance(message.id, str) else message.id[-1]
        said_so = _forms(message)[-1]
        assert set(_PLACE.findall(said_so)) == set(_PLACE.findall(own)), own
        assert sorted(_TAG.findall(said_so)) == sorted(_TAG.findall(own)), own
        assert set(_KEPT.findall(own)) <= set(_KEPT.findall(said_so)), own
        assert (own[:1] == " ", own[-1:] == " ") == (said_so[:1] in "  ", said_so[-1:] == " ") or (
            language == "fr" and own[:1] in ";:"
        ), own


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_trade_has_its_own_words(language):
    # Words of the trade: common practice; the file says so of each.
    with (CATALOGUES.parent / "glossary.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert all(row["source"] for row in rows)
    tongue = tongue_of(language)
    known = catalogue(language)
    for row in rows:
        if known.get(row["term"]) is not None:
            assert tongue(said(row["term"])) == row[language].partition(" (")[0]


def test_a_sentence_of_the_search_is_found_by_its_literals():
    assert "juice in {place}" in sentences_kept()
    assert "silent for {gap}" in sentences_kept()
    assert not [m for m in sentences_kept() if "\n" in m]
