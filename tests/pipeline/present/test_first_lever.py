"""The lever that a night tells of: once, when it is another."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from pipeline.mill import load_mill
from pipeline.present.first_lever import NOTE, first_lever_words, keep_first
from pipeline.report import LeverShown, SeasonLevers

MILL = load_mill(Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml")
SUNDAY = date(2025, 11, 23)
#: Monday at 05:00 in Chicago (tz database: CST is UTC-6).
MONDAY = datetime(2025, 11, 24, 11, tzinfo=UTC)


def levers(*names):
    rows = [LeverShown(name, 3.0, 1.0, 5.0, 0.3, 900.0, 800.0, 0.0, 0.0, None) for name in names]
    return SeasonLevers(tuple(rows), "", "", 0, "USD")


def test_another_lever_is_told_for_a_week_and_no_longer(tmp_path):
    mill = replace(MILL, store_path=tmp_path)
    assert first_lever_words(mill, MONDAY) == ""
    keep_first(mill, None, SUNDAY)
    assert not (tmp_path / NOTE).exists()
    keep_first(mill, levers("limed-juice pH 0.1 higher", "feed 5 % more"), SUNDAY)
    said = first_lever_words(mill, MONDAY)
    assert "to Sun 23 Nov 2025: limed-juice pH 0.1 higher, 3.0 t (1.0 to 5.0) of all that" in said
    assert "Until then" not in said
    # The same one a week later is no news, and neither is one of days to come.
    keep_first(mill, levers("limed-juice pH 0.1 higher"), SUNDAY + timedelta(days=7))
    assert first_lever_words(mill, MONDAY + timedelta(days=7)) == ""
    assert first_lever_words(mill, MONDAY - timedelta(days=7)) == ""
    keep_first(mill, levers("feed 5 % more"), SUNDAY + timedelta(days=14))
    told = first_lever_words(mill, MONDAY + timedelta(days=14))
    assert "feed 5 % more" in told and "Until then it was: limed-juice pH 0.1 higher." in told


def test_a_damaged_note_costs_no_report(tmp_path):
    mill = replace(MILL, store_path=tmp_path)
    for text in ("{", "[]", '{"day": 3}', '{"day": "2025-11-23", "what": "x", "was": ""}'):
        (tmp_path / NOTE).write_text(text, encoding="utf-8")
        assert first_lever_words(mill, MONDAY) == ""
