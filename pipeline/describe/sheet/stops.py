"""The drafted station as stops in flow order, each with the tags and samples placed there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.describe.draft import Draft, DraftedVessel
from pipeline.describe.lab import LabGuess
from pipeline.describe.sheet.cards import Card, lab_card, tag_card
from pipeline.describe.sheet.traces import Traces
from pipeline.places import Guess
from pipeline.words import analyte_words, clean, place_words, plain, spoken_name, stream_words

#: Places in flow order, each with its shape; vessels a draft may have are always shown.
_FLOW: Final = {
    "mill": "mill",
    "mixed_juice": "stream",
    "primary_heater": "heater",
    "liming_tank": "tank",
    "secondary_heater": "heater",
    "flash_tank": "flash",
    "settler": "settler",
    "mud": "stream",
    "filter_cake": "stream",
    "filtrate": "stream",
    "clear_juice_tank": "tank",
    "clear_juice_heater": "heater",
    "first_evaporator": "evaporator",
    "syrup": "stream",
}
_KIND_SHAPES: Final = {
    "liming_tank": "tank",
    "heater": "heater",
    "flash_tank": "flash",
    "settler": "settler",
    "clear_juice_tank": "tank",
    "clear_juice_heater": "heater",
    "evaporator_vessel": "evaporator",
}
SIDE: Final = ("mud", "filter_cake", "filtrate")
_ALWAYS: Final = frozenset(_FLOW) - {"mill", "syrup", *SIDE}
#: What flows in from the side, by place: quantity of its meter and its name.
INFLOWS: Final = {
    "mill": ("imbibition_flow", "imbibition water"),
    "liming_tank": ("lime_flow", "milk of lime"),
    "secondary_heater": ("steam_pressure", "steam"),
    "settler": ("flocculant_flow", "flocculant"),
}
_TITLES: Final = {
    "clear_juice_tank": "clear-juice tank",
    "clear_juice_heater": "clear-juice heater",
}


@dataclass(frozen=True, slots=True)
class Stop:
    """A vessel or stream of the station.

    Attributes
    ----------
    place, title, shape : str
    side : bool
        It does not lie on the juice's own way.
    vessel : DraftedVessel or None
    cards : tuple of Card
    samples : tuple of str
        Analyses of the samples taken here.
    inflow : str
        What flows in from the side; empty for nothing.
    metered : bool
        Whether a tag was found for that.
    """

    place: str
    title: str
    shape: str
    side: bool
    vessel: DraftedVessel | None
    cards: tuple[Card, ...]
    samples: tuple[str, ...]
    inflow: str
    metered: bool

    @property
    def tags(self) -> int:
        """Tags shown here, set-points and second instruments among them."""
        return sum(1 + len(card.partners) for card in self.cards)

    @property
    def confirms(self) -> int:
        """Tags and the volume to be confirmed here."""
        guessed = self.vessel is not None and self.vessel.guessed
        return sum(card.confirms for card in self.cards) + guessed

    @property
    def volume(self) -> str:
        """Volume in words; empty without a vessel."""
        return "" if self.vessel is None else volume_words(self.vessel)


@dataclass(frozen=True, slots=True)
class Samples:
    """A sampling point with its laboratory series."""

    title: str
    cards: tuple[Card, ...]


@dataclass(frozen=True, slots=True)
class Sorted:
    """All tags and laboratory series of a draft, each once."""

    stops: tuple[Stop, ...]
    unplaced: tuple[Card, ...]
    samples: tuple[Samples, ...]
    unplaced_samples: tuple[Card, ...]


def volume_words(vessel: DraftedVessel) -> str:
    """Volume of a vessel with its area."""
    area = "" if vessel.area_m2 is None else f", {plain(vessel.area_m2, 0)} m² settling area"
    area += " (guessed: CONFIRM)" if vessel.area_guessed and not vessel.guessed else ""
    if vessel.mud_volume_m3:
        area += f", mud zone {plain(vessel.mud_volume_m3, 0)} m³ (guessed: CONFIRM)"
    return f"{plain(vessel.volume_m3, 1)} m³{area}"


def sort_draft(draft: Draft, traces: Traces) -> Sorted:
    """Sort a draft into stops, sampling points and what has no place.

    Placed tags are drawn first, so that those without a place go without a trace where there
    are too many.
    """
    at, partners, unplaced = _parted(draft.guesses)
    vessels = {vessel.name: vessel for vessel in draft.vessels}
    samples: dict[str, list[LabGuess]] = {}
    for series in draft.lab:
        if series.analyte is not None and series.place is not None:
            samples.setdefault(_stop_of(series.place, series.port), []).append(series)
    stops = [
        _stop(
            place, vessels.get(place), at.get(place, []), partners, samples.get(place, []), traces
        )
        for place in _places({*at, *samples}, draft.vessels)
    ]
    return Sorted(
        tuple(stops),
        tuple(tag_card(g, partners.get(g.tag.name, ()), traces) for g in unplaced),
        tuple(_sampled(samples, [stop.place for stop in stops], traces)),
        tuple(
            lab_card(series, traces)
            for series in draft.lab
            if series.analyte is None or series.place is None
        ),
    )


def _parted(
    guesses: Sequence[Guess],
) -> tuple[dict[str, list[Guess]], dict[str, list[Guess]], list[Guess]]:
    """Tags by stop, partners by the tag they go with, and tags without a place."""
    names = {g.tag.name for g in guesses if g.role == "measured"}
    at: dict[str, list[Guess]] = {}
    partners: dict[str, list[Guess]] = {}
    unplaced = []
    for guess in guesses:
        if guess.role != "measured" and guess.of in names:
            partners.setdefault(guess.of, []).append(guess)
        elif guess.point is None:
            unplaced.append(guess)
        else:
            at.setdefault(_stop_of(guess.point.place, guess.point.port), []).append(guess)
    return at, partners, unplaced


def _stop_of(place: str, port: str) -> str:
    return "mud" if (place, port) == ("settler", "mud") else place


def _places(found: set[str], vessels: Sequence[DraftedVessel]) -> list[str]:
    """Stops to show in flow order; a vessel of another name stands behind the one before it."""
    order = list(_FLOW)
    before = "mixed_juice"
    for vessel in vessels:
        if vessel.name not in order:
            order.insert(order.index(before) + 1, vessel.name)
        before = vessel.name
    order += sorted(found - set(order))
    shown = found | _ALWAYS | {vessel.name for vessel in vessels}
    return [place for place in order if place in shown]


def _stop(
    place: str, vessel: DraftedVessel | None, guesses: Sequence[Guess],
    partners: dict[str, list[Guess]], series: Sequence[LabGuess], traces: Traces,
) -> Stop:  # fmt: skip
    ports = ("", "in", "inside", "out", "mud")
    placed = [(g.point, g) for g in guesses if g.point is not None]
    placed.sort(key=lambda pair: (ports.index(pair[0].port), pair[0].quantity, pair[1].tag.name))
    quantity, inflow = INFLOWS.get(place, ("", ""))
    title = _TITLES.get(place) or spoken_name(place)
    return Stop(
        place=place,
        title=title[:1].upper() + title[1:] or "Place not named",
        shape=_KIND_SHAPES.get(vessel.kind if vessel else "", "") or _FLOW.get(place, "tank"),
        side=place in SIDE,
        vessel=vessel,
        cards=tuple(tag_card(g, partners.get(g.tag.name, ()), traces) for _, g in placed),
        samples=tuple(analyte_words(str(s.analyte), s.basis) for s in series),
        inflow=inflow,
        metered=any(point.quantity == quantity for point, _ in placed),
    )


def _sampled(
    samples: dict[str, list[LabGuess]], order: Sequence[str], traces: Traces
) -> list[Samples]:
    points = []
    for place in order:
        by_port: dict[tuple[str, str], list[LabGuess]] = {}
        for series in samples.get(place, []):
            by_port.setdefault((clean(series.place), series.port), []).append(series)
        for (name, port), found in by_port.items():
            stream, where = stream_words(name, port), place_words(name, port, {})
            title = stream if stream == where else f"{stream} ({where})"
            cards = tuple(lab_card(s, traces) for s in found)
            points.append(Samples(title[:1].upper() + title[1:], cards))
    return points
