"""What is stored of a dialect is the truth, or the file is asked about; never wrong in silence."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from dialect_judge import judge
from dialect_list import all_dialects, short_list
from slow_case import slow


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One store for all: its database takes seconds to make; the lake is emptied each time."""
    return tmp_path_factory.mktemp("dialects")


def test_there_are_as_many_as_promised():
    asked = [d for d in all_dialects() if not d.is_answer]
    assert len(asked) >= 250
    assert not [name for name, n in Counter(d.name for d in all_dialects()).items() if n > 1]


#: Every third each time, the others with what is slow.
CHOSEN = [slow(d) if n % 3 else d for n, d in enumerate(short_list())]


@pytest.mark.parametrize("dialect", CHOSEN, ids=[d.name for d in short_list()])
def test_a_dialect_is_read_exactly_or_asked_about(dialect, folder):
    verdict = judge(dialect, folder)
    assert verdict.kind in dialect.allowed, verdict.why


def test_the_judge_sees_what_is_wrong_and_what_is_dropped(folder):
    sound = all_dialects()[0]
    first, second, *others = sound.truth
    assert judge(sound, folder).kind == "exact"
    other_value = replace(sound, truth=[first._replace(text="1.5"), second, *others])
    assert judge(other_value, folder).kind == "WRONG"
    flagged = replace(sound, truth=[first._replace(bad=True), second, *others])
    assert judge(flagged, folder).kind == "WRONG"
    assert judge(replace(sound, truth=[second, *others]), folder).kind == "WRONG"
    later = first._replace(utc=first.utc + timedelta(days=9))
    assert judge(replace(sound, truth=[*sound.truth, later]), folder).kind == "SILENT"
