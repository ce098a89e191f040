"""The first words of a draft's page: how much has a place, what to confirm, the worst doubts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pipeline.describe.draft import Draft, DraftedVessel
from pipeline.describe.sheet.stops import Sorted, volume_words
from pipeline.places import Guess
from pipeline.words import clean, point_words, spoken_name

#: Points without which no tonne, or only a wrong one, can be worked out.
_FEED: Final = frozenset({("mixed_juice", ""), ("settler", "in"), ("clear_juice_tank", "out")})
_PH: Final = (("liming_tank", "out"), ("settler", "out"))


@dataclass(frozen=True, slots=True)
class Headline:
    """Counts and doubts.

    Attributes
    ----------
    placed, total : int
        Tags and laboratory series with a place, of all.
    parts : tuple of str
        What the total is made of.
    confirms : int
        Everything to be confirmed, and what it is made of.
    confirm_parts : tuple of str
    doubts : tuple of str
        The worst first.
    """

    placed: int
    total: int
    parts: tuple[str, ...]
    confirms: int
    confirm_parts: tuple[str, ...]
    doubts: tuple[str, ...]


def headline(draft: Draft, found: Sorted) -> Headline:
    """Count, and rank the doubts."""
    cards = [card for stop in found.stops for card in stop.cards]
    roles = [partner.role for card in [*cards, *found.unplaced] for partner in card.partners]
    series = [card for point in found.samples for card in point.cards]
    unplaced = len(found.unplaced) + len(found.unplaced_samples)
    parts = (
        (len(cards), "tag at a place of its own", "tags at a place of their own"),
        (roles.count("second instrument"), "second instrument", "second instruments"),
        (roles.count("set-point"), "set-point", "set-points"),
        (len(series), "laboratory series", "laboratory series"),
        (unplaced, "without a place", "without a place"),
    )
    confirm = (
        (_asked(draft), "open question", "open questions"),
        (sum(card.confirms for card in [*cards, *found.unplaced]), "tag", "tags"),
        (sum(card.confirm for card in series), "laboratory series", "laboratory series"),
        (sum(_guesses_of(v) for v in draft.vessels), "guessed size", "guessed sizes"),
    )
    return Headline(
        placed=draft.placed,
        total=len(draft.guesses) + len(draft.lab),
        parts=_counted(parts),
        confirms=sum(number for number, _, _ in confirm),
        confirm_parts=_counted(confirm),
        doubts=tuple(_doubts(draft)),
    )


def _counted(parts: tuple[tuple[int, str, str], ...]) -> tuple[str, ...]:
    return tuple(f"{n} {one if n == 1 else many}" for n, one, many in parts if n)


def _asked(draft: Draft) -> int:
    return sum(not question.given for question in draft.questions)


def _doubts(draft: Draft) -> Iterator[str]:
    """Doubts, the one that would falsify most first."""
    points = [(g, g.point) for g in draft.guesses if g.point is not None and g.role == "measured"]
    if not any(p.quantity == "flow" and (p.place, p.port) in _FEED for _, p in points):
        yield "No juice flow was recognised: without one no loss can be worked out."
    for question in draft.questions:
        if not question.given:
            about = f"{clean(question.file, 80)}: " if question.file else ""
            asked = _sentence(clean(question.words, 400))
            yield f"{about}{asked} Taken for now: {clean(question.answer, 80)}."
    for spot in _PH:
        named = point_words("ph", *spot)
        probes = [g for g, p in points if p.quantity == "ph" and (p.place, p.port) == spot]
        if not probes or probes[0].sure != "likely":
            yield _ph_words(named, probes)
    guessed = [v for v in draft.vessels if v.guessed]
    if guessed:
        worst = max(guessed, key=lambda v: v.volume_m3)
        yield (
            f"The volume of the {spoken_name(worst.name)} is a guess: {volume_words(worst)}. "
            f"{_sentence(clean(worst.matters, 300))}".rstrip()
        )
    for sure, word in (("unsure", "is unsure"), ("perhaps", "is not certain")):
        for guess, point in points:
            if guess.sure == sure and (point.place, point.port) not in _PH:
                what = point_words(point.quantity, point.place, point.port)
                why = clean(guess.why, 200).rstrip(".")
                yield f"{clean(guess.tag.name, 80)} as {what} {word}: {why}."


def _guesses_of(vessel: DraftedVessel) -> int:
    """Sizes of a vessel that nobody gave."""
    return vessel.guessed + vessel.area_guessed + (vessel.mud_volume_m3 > 0.0)


def _sentence(text: str) -> str:
    """Begin with a capital and end with a mark."""
    return text[:1].upper() + text[1:] + ("." if text and text[-1] not in ".?!:…" else "")


def _ph_words(named: str, probes: list[Guess]) -> str:
    error = "an error of 0.3 pH doubles or halves the loss"
    if not probes:
        return f"No tag for the {named} was found: {error}."
    guess = probes[0]
    return f"Whether {clean(guess.tag.name, 80)} is the {named} is not certain: {error}."
