"""Which change would have saved most, kept from week to week, so that a night can tell of another.

Levers are worked out once a week and take seconds to add up; a night only reads this note.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from pipeline.mill import Mill
from pipeline.report import SeasonLevers, write_text
from pipeline.words import clean, day_words, packed, said, tonnes, unpacked

NOTE: Final = "first_lever.json"
#: A change is news for so long.
_NEWS: Final = timedelta(days=7)
_LONGEST: Final = 120


def keep_first(mill: Mill, levers: SeasonLevers | None, day: date) -> None:
    """Keep the best lever of a season if it is another than the one kept.

    Parameters
    ----------
    mill : Mill
    levers : SeasonLevers or None
    day : date
        Last local day that it was worked out for.
    """
    if levers is None or not levers.rows:
        return
    first, held = levers.rows[0], _read(mill)
    if held.get("what") == first.what:
        return
    made = {
        "day": day.isoformat(),
        "what": str(first.what),
        "said": packed(first.what),
        "saved_t": [first.saved_t, first.low_t, first.high_t],
        "was": held.get("what", ""),
        "was_said": held.get("said"),
    }
    write_text(mill.store_path / NOTE, json.dumps(made, ensure_ascii=False, allow_nan=False) + "\n")


def first_lever_words(mill: Mill, end: datetime) -> str:
    """Say that another change would have saved most; empty where that is no news.

    Parameters
    ----------
    mill : Mill
    end : datetime
        End of data of the night.
    """
    held = _read(mill)
    try:
        day = date.fromisoformat(held["day"])
        saved = tonnes(*(float(value) for value in held["saved_t"]))
        what = unpacked(held["said"], clean(held["what"], _LONGEST))
        was = unpacked(held["was_said"], clean(held["was"], _LONGEST))
    except (KeyError, TypeError, ValueError):
        return ""
    if not timedelta() <= mill.local_day(end) - day <= _NEWS:
        return ""
    before = said(" Until then it was: {was}.", was=was) if was else ""
    return said(
        "What would have saved most this season, by the days to {day}: {what}, {saved} of all "
        "that was lost, 90 % interval.{before} All steps: lostpol levers.",
        day=day_words(day),
        what=what,
        saved=saved,
        before=before,
    )


def _read(mill: Mill) -> dict[str, Any]:
    path: Path = mill.store_path / NOTE
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return held if isinstance(held, dict) else {}
