"""What a period would have been with something changed: sliders, and the replay that answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

from pipeline.base import ConfigError, now
from pipeline.desk.address import Query
from pipeline.desk.kept import Kept
from pipeline.mill import Mill
from pipeline.period import period_of
from pipeline.replay import replay, replay_told
from pipeline.words import figure, place_within, said, span_words

#: How a change stands in an address: ``by.KEY``.
_PREFIX: Final = "by."
_CAUTION: Final = said(
    "lostpol advises and never writes to a control system. Hot juice and "
    "steam, lime and confined vessels can injure and kill: leave set-points "
    "to trained and licensed people, and follow local codes."
)


@dataclass(frozen=True, slots=True)
class Slider:
    """One change that can be tried, always relative.

    Attributes
    ----------
    key : str
        As `pipeline.replay.replay` takes it.
    words, unit : str
    low, high, step, value : float
        In the unit.
    """

    key: str
    words: str
    unit: str
    low: float
    high: float
    step: float
    value: float = 0.0

    @property
    def name(self) -> str:
        """In an address."""
        return _PREFIX + self.key

    @property
    def shown(self) -> str:
        """What it changes, always with a sign: no setting is meant."""
        return figure(self.value, "+g") if self.value else "± 0"

    @property
    def change(self) -> str:
        """As a replay reads it."""
        return f"{self.key}={self.value:+g}{'%' if self.unit == '%' else ''}"


def sliders_of(mill: Mill, query: Query) -> list[Slider]:
    """Sliders of a mill, where an address has put them.

    Raises
    ------
    ConfigError
        A change is not a number, or lies outside its slider.
    """
    return [_set(slider, query) for slider in _all(mill)]


def _all(mill: Mill) -> Iterator[Slider]:
    yield Slider("ph_limed", said("Limed-juice pH"), "pH", -0.4, 0.4, 0.05)
    yield Slider("flow", said("Throughput"), "%", -15.0, 15.0, 1.0)
    station = mill.station
    hot = (*station.of_kind("settler")[:1], *station.of_kind("evaporator_vessel")[:1])
    for vessel in hot:
        words = said("Temperature in {vessel}", vessel=place_within(vessel.name))
        yield Slider(f"{vessel.name}.temp_degc", words, "°C", -4, 4, 0.5)
    for vessel in station.of_kind("clear_juice_tank")[:1]:
        yield Slider(
            f"{vessel.name}.level_pct",
            said("Level of the clear-juice tank"),
            said("points of level"),
            -20,
            20,
            1,
        )


def _set(slider: Slider, query: Query) -> Slider:
    text = query.get(slider.name, "").strip()
    if not text:
        return slider
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not slider.low <= value <= slider.high:
        raise ConfigError(
            said("{quantity} cannot be changed by this.", quantity=slider.words),
            f"{slider.name}={text[:40]!r}",
            said(
                "Give a number from {low} to {high} [{unit}].",
                low=figure(slider.low, "g"),
                high=figure(slider.high, "g"),
                unit=slider.unit,
            ),
        )
    return replace(slider, value=value)


def what_if_view(kept: Kept, query: Query) -> dict[str, Any]:
    """Everything that the page shows: sliders, and the answer or why there is none.

    Raises
    ------
    ConfigError
        The period or a change cannot be read.
    DataError
        Nothing of the period was worked out.
    """
    mill = kept.mill
    first, last = query.get("from", "").strip(), query.get("to", "").strip()
    window = period_of(first, last, mill.tz, now(), said("from, to"))
    sliders = sliders_of(mill, query)
    changes = tuple(slider.change for slider in sliders if slider.value)
    refused, told = None, None
    if changes:
        try:
            told = kept.once(
                ("what-if", window, changes),
                lambda: replay_told(replay(mill, window, changes)),
            )
        except ConfigError as error:
            refused = error
    return {
        "sliders": sliders,
        "from_at": first,
        "to_at": last,
        "when": span_words(window.start, window.end, mill.tz),
        "told": told,
        "refused": refused,
        "caution": _CAUTION,
    }
