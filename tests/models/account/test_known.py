"""A note explains what is of its kind and in its hours, and hides nothing."""

import inspect
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from features.base import polars_schema
from models.account.known import EXPLAINS, KNOWN_NOTICE, Note, explained_by, known_notices, touching
from models.cause import corroboration
from models.cause import notices as notices_of_the_search
from models.cause.notices import NOTICE_COLUMNS

AT = datetime(2025, 11, 4, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)
STOP = Note("a", AT, AT + 8 * HOUR, "stop", "boiler inspection")


def notices(*rows):
    columns = ("started", "ended", "kind", "text")
    rows = [dict(zip(columns, row, strict=True)) for row in rows]
    return pl.DataFrame(rows, schema=polars_schema(NOTICE_COLUMNS))


@pytest.mark.parametrize(
    ("kind", "first", "last", "explained"),
    [
        ("handled_stop", 0, 8, True),
        ("untold_stop", -0.4, 8.4, True),
        # A stop that went on for much longer than planned is a surprise again.
        ("handled_stop", 0, 20, False),
        ("handled_stop", 9, 12, False),
        ("stale_cane", 0, 8, False),
        # Limed up before it stands, cloudy when it runs again; much later is a surprise.
        ("over_liming", -3, 1, True),
        ("cloudy_clear_juice", 8.2, 11, True),
        ("cloudy_clear_juice", 14, 17, False),
        ("lab_ph_shift", 0, 8, False),
    ],
)
def test_kind_and_hours_must_both_fit(kind, first, last, explained):
    note = explained_by([STOP], kind, AT + first * HOUR, AT + last * HOUR)
    assert (note is STOP) is explained


def test_what_is_explained_is_told_as_known_and_nothing_is_lost():
    frame = notices(
        (AT, AT + 8 * HOUR, "handled_stop", "Stop of 8 h."),
        (AT, AT + 8 * HOUR, "stale_cane", "Stale."),
    )
    found = known_notices(frame, [STOP])
    assert found.height == frame.height
    assert found["kind"].to_list() == [KNOWN_NOTICE, "stale_cane"]
    assert found["text"][0] == "Noted beforehand as stop: boiler inspection. Stop of 8 h."
    assert found.schema == frame.schema
    assert known_notices(frame, []).equals(frame)


def test_notes_that_touch_hours_come_in_order_of_time():
    early = Note("b", AT - 3 * HOUR, AT - HOUR, "other", "x")
    assert touching([STOP, early], AT - 2 * HOUR, AT + HOUR) == [early, STOP]
    assert touching([STOP], AT + 8 * HOUR, AT + 9 * HOUR) == []


def test_what_notes_explain_are_notices_that_the_search_makes():
    made = inspect.getsource(notices_of_the_search) + inspect.getsource(corroboration)
    for kinds in EXPLAINS.values():
        for kind in kinds:
            assert f'"{kind}"' in made
    # `other` explains nothing, so that a slip of the pen hides nothing.
    assert EXPLAINS["other"] == frozenset()
