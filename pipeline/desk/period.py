"""The view of a period: sentence, drivers, vessels, lanes with first moves, another under it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from models.account import EXPLAINS
from pipeline.base import Window, now
from pipeline.desk.address import Query, season_of, span, stamp, window_of
from pipeline.desk.kept import Kept
from pipeline.desk.what_if import sliders_of
from pipeline.dossier import PeriodView, view_of_period
from pipeline.mill import Mill
from pipeline.period import Answer, answer, notes_of, period_of
from pipeline.words import figure, said, span_words

#: How far back "the same hours" are looked for to compare with.
_BACK: Final = ((said("the same hours a day before"), 1), (said("a week before"), 7))


@dataclass(frozen=True)
class Asked:
    """Period asked about, and the one beside it."""

    window: Window
    beside: Window | None

    @property
    def query(self) -> str:
        """The same as a query."""
        beside = f"&beside={span(self.beside)}" if self.beside else ""
        return f"?from={stamp(self.window.start)}&to={stamp(self.window.end)}{beside}"


def asked_of(query: Query, kept: Kept) -> Asked | None:
    """Read what is asked about; None where nothing is.

    Raises
    ------
    ConfigError
        A time cannot be read, never was, or was twice.
    """
    first, last = query.get("from", "").strip(), query.get("to", "").strip()
    if not first and not last:
        return None
    mill = kept.mill
    window = period_of(first, last, mill.tz, now(), said("from, to"))
    spoken = query.get("beside", "").strip()
    other = query.get("beside_from", "").strip(), query.get("beside_to", "").strip()
    beside = None
    if spoken and spoken.lower() != "usual":
        beside = window_of(spoken, mill, "beside")
    elif all(other):
        beside = period_of(*other, mill.tz, now(), "beside")
    return Asked(window, beside)


def period_answer(kept: Kept, asked: Asked, base: str) -> tuple[Answer, PeriodView]:
    """The account asked for, and how pages show it.

    Raises
    ------
    DataError
        Nothing of the period was worked out.
    """
    noted = tuple(note.note_id for note in notes_of(kept.mill))
    return kept.once(("period", asked, base, noted), lambda: _answered(kept, asked, base))


def _answered(kept: Kept, asked: Asked, base: str) -> tuple[Answer, PeriodView]:
    found = answer(kept.mill, asked.window, asked.beside)
    links = {f.finding_id: f"{base}/finding/{f.finding_id}" for f in found.account.findings}
    return found, view_of_period(found, links)


def period_view(kept: Kept, asked: Asked, base: str) -> dict[str, Any]:
    """Everything that the page of a period shows."""
    _, view = period_answer(kept, asked, base)
    return form_view(kept, asked) | view.content | {
        "asked": True,
        "state": asked.query,
        "others": _others(kept, asked, base),
        "in_season": f"{base}/?pick={span(asked.window)}"
        + (f"&beside={span(asked.beside)}" if asked.beside else ""),
        "sliders": sliders_of(kept.mill, Query(())),
        "note_from": _typed(asked.window.start, kept.mill),
        "note_to": _typed(asked.window.end, kept.mill),
    }  # fmt: skip


def form_view(kept: Kept, asked: Asked | None) -> dict[str, Any]:
    """What the form of the page shows, whether anything is asked or not."""
    season = season_of(kept.now())
    mill = kept.mill
    typed = {"from_value": "", "to_value": "", "beside_from": "", "beside_to": ""}
    if asked is not None:
        typed |= {"from_value": _typed(asked.window.start, mill),
                  "to_value": _typed(asked.window.end, mill)}  # fmt: skip
        if asked.beside:
            typed |= {"beside_from": _typed(asked.beside.start, mill),
                      "beside_to": _typed(asked.beside.end, mill)}  # fmt: skip
    return typed | {
        "asked": False,
        "reaches": span_words(season.start, season.end, mill.tz),
        "kinds": list(EXPLAINS),
        "last_day": mill.last_day_over(season.end).isoformat(),
    }


def _others(kept: Kept, asked: Asked, base: str) -> list[tuple[str, str]]:
    """Periods worth comparing with: words and address."""
    season, window = season_of(kept.now()), asked.window
    length = window.end - window.start
    found = [
        (said("the {long} before", long=_long(length)), Window(window.start - length, window.start))
    ]
    for words, days in _BACK:
        back = timedelta(days=days)
        if back > length:
            found.append((words, Window(window.start - back, window.end - back)))
    plain = [(said("the usual alone"), f"{base}/period{Asked(window, None).query}")]
    return plain * (asked.beside is not None) + [
        (words, f"{base}/period{Asked(window, other).query}")
        for words, other in dict(found).items()
        if other.start >= season.start
    ]


def _long(length: timedelta) -> str:
    hours = length / timedelta(hours=1)
    return (
        said("{hours} hours", hours=figure(hours, ".0f"))
        if hours < 72
        else said("{hours} days", hours=figure(hours / 24, ".0f"))
    )


def _typed(moment: Any, mill: Mill) -> str:  # noqa: ANN401
    return str(moment.astimezone(mill.tz).isoformat(sep=" ", timespec="minutes"))
