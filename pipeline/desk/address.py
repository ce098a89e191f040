"""The state of a view, as it stands in its address and nowhere else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Final
from urllib.parse import urlencode

from pipeline.base import ConfigError, Window, now
from pipeline.desk.kept import Snapshot
from pipeline.mill import Mill
from pipeline.period import period_of
from pipeline.words import clean, said

#: Pixels of a plot where the browser has not said how wide it is.
USUAL_WIDTH: Final = 1000
_WIDTHS: Final = (200, 2600)
_LEAST: Final = timedelta(minutes=20)
_LARGEST_T: Final = 1e6
#: Filters that may be said several times, and those that are said once.
_SEVERAL: Final = ("cause", "section", "mark", "verdict", "weekday")
_MOST_SAID: Final = 60


class Query:
    """What a request says behind the question mark.

    Parameters
    ----------
    pairs : iterable of (str, str)
        Keys and values, in their order.
    """

    def __init__(self, pairs: Iterable[tuple[str, str]]) -> None:
        self._values: dict[str, list[str]] = {}
        for key, value in pairs:
            self._values.setdefault(key, []).append(value)

    def get(self, key: str, default: str = "") -> str:
        """The last value of a key."""
        held = self._values.get(key)
        return held[-1] if held else default

    def getlist(self, key: str) -> list[str]:
        """Every value of a key."""
        return list(self._values.get(key, []))


@dataclass(frozen=True)
class Filters:
    """Which findings are shown; empty ones hide nothing.

    Attributes
    ----------
    cause, section, mark, verdict, weekday : tuple of str
        ``verdict`` knows ``none``, too; ``weekday`` counts from Monday, 0.
    shift : str
        Number of a shift of the description.
    least_t : float
        Smallest finding shown [t].
    gone : bool
        Show findings that were taken back, too.
    """

    cause: tuple[str, ...] = ()
    section: tuple[str, ...] = ()
    mark: tuple[str, ...] = ()
    verdict: tuple[str, ...] = ()
    weekday: tuple[str, ...] = ()
    shift: str = ""
    least_t: float = 0.0
    gone: bool = False

    @property
    def hours_chosen(self) -> bool:
        """Whether some hours are left out, by shift or weekday."""
        return bool(self.shift or self.weekday)

    @property
    def any(self) -> bool:
        """Whether anything is left out."""
        return self != Filters(gone=self.gone)


@dataclass(frozen=True)
class Shown:
    """Everything that a view of the season shows.

    Attributes
    ----------
    window : Window
        Hours shown.
    whole : bool
        They are the whole season.
    pick, beside : Window or None
        Period chosen, and the one to compare it with.
    filters : Filters
    tags : tuple of str
        Signals shown as lanes; ``("all",)`` for all of them.
    width : int
        Pixels of a plot.
    """

    window: Window
    whole: bool
    pick: Window | None = None
    beside: Window | None = None
    filters: Filters = field(default_factory=Filters)
    tags: tuple[str, ...] = ()
    width: int = USUAL_WIDTH

    def query(self, **changed: object) -> str:
        """The same state as a query, ``?...``, with some of it changed; empty for nothing."""
        return query_of(replace(self, **changed))  # type: ignore[arg-type]


def shown_of(query: Query, mill: Mill, known: Snapshot) -> Shown:
    """Read the state of a view.

    Raises
    ------
    ConfigError
        A time, a size or a width cannot be read.
    """
    season = season_of(known)
    first, last = query.get("from", ""), query.get("to", "")
    window = season
    if first or last:
        window = period_of(
            first or stamp(season.start),
            last or stamp(season.end),
            mill.tz,
            now(),
            said("from, to"),
        )
        if window.end - window.start < _LEAST:
            window = Window(window.start, window.start + _LEAST)
    return Shown(
        window=window,
        whole=window == season,
        pick=_period(query, "pick", mill),
        beside=_period(query, "beside", mill),
        filters=_filters(query),
        tags=tuple(dict.fromkeys(query.getlist("tag")[:200])),
        width=_width(query),
    )


def season_of(known: Snapshot) -> Window:
    """Hours of the season of which anything is known."""
    hours = known.hours.drop_nulls("excess_t")["hour"]
    if hours.is_empty():
        return Window(known.start, known.end)
    return Window(hours[0].astimezone(UTC), hours[-1].astimezone(UTC) + timedelta(hours=1))


def query_of(shown: Shown) -> str:
    """State as a query; what is at its usual is left out."""
    pairs: list[tuple[str, str]] = []
    if not shown.whole:
        pairs += [("from", stamp(shown.window.start)), ("to", stamp(shown.window.end))]
    pairs += [(n, span(w)) for n, w in (("pick", shown.pick), ("beside", shown.beside)) if w]
    filters = shown.filters
    pairs += [(name, value) for name in _SEVERAL for value in getattr(filters, name)]
    if filters.shift:
        pairs.append(("shift", filters.shift))
    if filters.least_t:
        pairs.append(("least", f"{filters.least_t:g}"))
    if filters.gone:
        pairs.append(("gone", "1"))
    pairs += [("tag", name) for name in shown.tags]
    if shown.width != USUAL_WIDTH:
        pairs.append(("w", str(shown.width)))
    return f"?{urlencode(pairs)}" if pairs else ""


def stamp(moment: datetime) -> str:
    """A moment as it stands in an address: UTC, to the minute."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%MZ}"


def span(window: Window) -> str:
    """A period as it stands in an address."""
    return f"{stamp(window.start)}..{stamp(window.end)}"


def window_of(spoken: str, mill: Mill, where: str) -> Window:
    """Period from ``FROM..TO``, each as people say it.

    Raises
    ------
    ConfigError
        It is none.
    """
    first, dots, last = spoken.partition("..")
    if not dots:
        raise ConfigError(
            said("This period cannot be read."),
            f"{where}: {clean(spoken, 80)!r}",
            said("Say it as FROM..TO, such as 2026-11-20T02:00..2026-11-20T06:00."),
        )
    return period_of(first, last, mill.tz, now(), where)


def _period(query: Query, name: str, mill: Mill) -> Window | None:
    spoken = query.get(name, "").strip()
    return window_of(spoken, mill, name) if spoken else None


def _filters(query: Query) -> Filters:
    several = {name: _said(query.getlist(name)) for name in _SEVERAL}
    return Filters(
        **several,
        shift=query.get("shift", "")[:4],
        least_t=_number(query.get("least", ""), "least"),
        gone=query.get("gone", "") == "1",
    )


def _said(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(value[:80] for value in values if value))[:_MOST_SAID]


def _number(typed: str, where: str) -> float:
    try:
        value = float(typed.strip().replace(",", ".") or 0.0)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= _LARGEST_T:
        raise ConfigError(
            said("This size cannot be read."),
            f"{where}: {clean(typed, 40)!r}",
            said("Give tonnes as a number, such as 0.5."),
        )
    return value


def _width(query: Query) -> int:
    typed = query.get("w", "")
    if not typed:
        return USUAL_WIDTH
    if not (typed.isascii() and typed.isdigit() and len(typed) < 6):
        raise ConfigError(
            said("This width cannot be read."),
            f"w: {clean(typed, 40)!r}",
            said("Leave w out of the address."),
        )
    return min(max(int(typed), _WIDTHS[0]), _WIDTHS[1])
