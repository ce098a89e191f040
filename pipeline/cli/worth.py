"""What an answer will be worth, in lines for the terminal, before a season is worked out."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Final

from features.base import Station
from models.worth import Coverage, Seen, coverage_of, watch_needed
from pipeline.lake import HEALTH, lake_of, tag_health
from pipeline.mill import Mill
from pipeline.present import LabState, lab_state, state_of_series
from pipeline.words import (
    NEEDS,
    factor_words,
    figure,
    joined,
    juices_words,
    money,
    said,
    within_line,
    words_of,
)

#: Samples a shift that a laboratory could take, for a pace where none is known (common practice).
_A_SHIFT: Final = 2
_USUAL_SHIFTS: Final = 3


def worth_lines(mill: Mill, look_back_days: int) -> Iterator[str]:
    """Tell which losses will show, how well their level will be known, and how soon.

    Parameters
    ----------
    mill : Mill
    look_back_days : int
        Tags and series without a sound reading in so many last days count as absent, once there
        are readings at all.
    """
    if mill.station.vessels:
        yield said("What the answer will be worth:")
        yield from _seen_lines(coverage_of(_reporting(mill, look_back_days)))
        yield from _level_lines(mill, lab_state(mill))
        yield from _soon_lines()
        yield _smallest_line(mill)
        if days := lake_of(mill).days():
            yield said("  In the store: readings of {days} days.", days=len(days))


def worth_of_files(mill: Mill, tags: Collection[str]) -> Iterator[str]:
    """Tell the same of some exports: of the tags and series that they hold, nothing else.

    Parameters
    ----------
    mill : Mill
    tags : collection of str
        Tags and series of the description that the files hold.
    """
    station = mill.station
    if station.vessels:
        described = {s.tag for s in station.signals} | {s.tag for s in station.lab}
        held = _without(station, described - set(tags))
        yield said("What the answer will be worth with these files alone:")
        yield from _seen_lines(coverage_of(held))
        yield from _level_lines(mill, state_of_series(station, held))
        yield from _soon_lines()
        yield _smallest_line(mill)


def _smallest_line(mill: Mill) -> str:
    """From what loss on an episode is a finding, why, and where that is changed."""
    least_t, detection = mill.smallest_finding_t, mill.detection
    worth = money(least_t * mill.price_per_t, None, None, mill.currency).split(" (", 1)[0]
    if detection.smallest_finding_t is not None:
        why = said("as detection.smallest_finding_t says")
    elif detection.smallest_finding_worth is not None:
        why = said(
            "from detection.smallest_finding_worth and the price, within three times by size"
        )
    else:
        why = said(
            "worked out from the {flow} m³/h of juice that [targets] feeds; "
            "detection.smallest_finding_t changes it",
            flow=figure(mill.station.targets.flow_feed_m3_h, "g"),
        )
    return said(
        "- Smallest finding: {least} t sucrose, worth {worth} ({why}).",
        least=figure(least_t, "g"),
        worth=worth,
        why=why,
    )


def _reporting(mill: Mill, look_back_days: int) -> Station:
    """The station with what reports; all of it while nothing is known of the readings."""
    lake, station = lake_of(mill), mill.station
    known = lake.feature_days(HEALTH)
    if not known:
        return station
    last = max(known)
    health = tag_health(mill, last - timedelta(days=look_back_days - 1), last)
    silent = {row["tag"] for row in health.to_dicts() if row["readings"] == row["bad"]}
    return _without(station, silent)


def _without(station: Station, silent: Collection[str]) -> Station:
    return replace(
        station,
        signals=tuple(s for s in station.signals if s.tag not in silent),
        lab=tuple(s for s in station.lab if s.tag not in silent),
    )


def _seen_lines(covered: Coverage) -> Iterator[str]:
    """Losses by how well they show, and what each missing tag or result costs."""
    groups = (
        (said("Losses that will show"), [c for c, unmet in covered.unmet.items() if not unmet]),
        (
            said("Losses that will show in part"),
            [c for c, unmet in covered.unmet.items() if unmet and c not in covered.blind],
        ),
        (said("Losses that cannot show"), [c for c in covered.unmet if c in covered.blind]),
    )
    for head, causes in groups:
        if causes:
            names = joined("; ", [within_line(words_of(c).name) for c in causes])
            yield said("- {head}: {names}.", head=head, names=names)
    if covered.missing:
        yield said("- What is missing, and what that costs:")
    for name in covered.missing:
        what, cost = NEEDS[name]
        yield said("  - {what}: {cost}.", what=what, cost=cost)


def _level_lines(mill: Mill, state: LabState) -> Iterator[str]:
    """How far off all tonnes may be together, with and without the laboratory."""
    outlook, seen = state.outlook, state.seen
    yield said(
        "- Level of the tonnes: by the description alone all of them may be off by a factor of "
        "{factor} either way, together; other errors come on top.",
        factor=factor_words(outlook.prior_factor),
    )
    yield joined("", ("  ", _promise(mill, state)))
    if state.any_result:
        yield said("  In the store: {samples}.", samples=_samples_so_far(seen))
    if state.cure and seen.rests_on_prior and (state.any_result or not outlook.promising):
        pace = _pace(mill, seen, outlook.cure.samples) if outlook.cure is not None else ""
        yield said("  Cheapest cure: {cure}{pace}.", cure=state.cure, pace=pace)


def _promise(mill: Mill, state: LabState) -> str:
    """What the laboratory's series can tell of the level."""
    outlook = state.outlook
    if not outlook.points:
        return said(
            "No result can tell it: the description has no liming tank and settler to sample."
        )
    if not outlook.told_at:
        return said(
            "Nothing is analysed at two points of the train that could be compared, so the "
            "laboratory cannot tell it."
        )
    juices = juices_words(outlook.told_at, outlook.last)
    factor = factor_words(outlook.enough_factor)
    if not outlook.promising:
        return said(
            "Results of {juices} can be compared, but these analyses tell too little: even "
            "many samples of each leave a factor of {factor}.",
            juices=juices,
            factor=factor,
        )
    return said(
        "Results of {juices} are compared and tell it. At the targets about {samples} samples of "
        "each bring the factor to {factor}{pace}; more hardly help.",
        juices=juices,
        samples=outlook.enough_samples,
        factor=factor,
        pace=_pace(mill, state.seen, outlook.enough_samples),
    )


def _samples_so_far(seen: Seen) -> str:
    if not seen.samples:
        return said("no sample of the last weeks tells it")
    return said(
        "{samples} samples of the last weeks, which leave a factor of {factor}",
        samples=seen.samples,
        factor=factor_words(seen.factor),
    )


def _pace(mill: Mill, seen: Seen, samples: int) -> str:
    """How long so many samples take."""
    if seen.apart_h:
        days = samples * seen.apart_h / 24.0
        return said(" ({days} days at the present pace)", days=figure(days, ".0f"))
    a_day = _A_SHIFT * (len(mill.shifts.starts) or _USUAL_SHIFTS)
    return said(
        " ({days} days with {each} samples a shift of each)",
        days=figure(samples / a_day, ".0f"),
        each=_A_SHIFT,
    )


def _soon_lines() -> Iterator[str]:
    """From the first export to the first finding, and on to what is fully sure."""
    ready = watch_needed()
    yield said(
        "- How soon: after {first} h of running juice the first losses can be told. The usual is "
        "then taken from those hours alone, so a loss that fills most of them passes for the "
        "usual; after {usual} days it rests on a week before and a week after. What chance can do "
        "is learnt as the mill runs: after {own} weeks its own hours weigh as much as what is "
        "common to all.",
        first=figure(ready.first_h, ".0f"),
        usual=figure(ready.usual_days, ".0f"),
        own=figure(ready.own_weeks, ".0f"),
    )
