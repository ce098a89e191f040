"""What `lostpol period` prints: the sentence first, then tonnes, vessels, drivers, moves."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from models.account import PeriodAccount, Tonnes
from pipeline.dossier import write_period
from pipeline.period import (
    Answer,
    as_data,
    moment_of_move,
    not_computed,
    note_words,
    scaled,
    tags_of,
    what_of,
)
from pipeline.words import (
    bare_tonnes,
    clean,
    duration_words,
    feed_share,
    notice_words,
    said,
    section_words,
    share_words,
    span_words,
    stored,
    tonnes,
    words_of,
)

#: Moves and drivers told on a terminal; the page holds all.
_MOVES: Final = 6
#: Drivers that put less than this above or below the usual are not told [t].
_LEAST_T: Final = 0.005


def as_json(found: Answer) -> str:
    """The answer as JSON."""
    return json.dumps(as_data(found), indent=2, ensure_ascii=True, allow_nan=False)


def write_page(found: Answer, out: Path | None) -> Path:
    """Write the page of a period."""
    return write_period(found, out)


def lines_of(found: Answer) -> Iterator[str]:
    """The answer in lines for a person."""
    account, zone = found.account, found.mill.tz
    kinds = {v.name: str(v.kind) for v in found.mill.station.vessels}
    span = span_words(found.window.start, found.window.end, zone)
    yield said(
        "{span} ({duration_words}), plant time",
        span=span,
        duration_words=duration_words(found.window.end - found.window.start),
    )
    yield found.sentence
    yield said(
        "Lost:            {t}, {feed_share} of the sucrose fed",
        t=_t(account.lost),
        feed_share=feed_share(account.lost_pct),
    )
    yield said(
        "Usual / targets: {bare} / {bare2}",
        bare=_bare(account.usual_t),
        bare2=_bare(account.target_t),
    )
    yield said("Above the usual: {t}", t=_t(account.above_usual))
    yield from _beside(found)
    yield said("By driver, above the usual:")
    for part in account.by_driver:
        if abs(part.above_usual.mid) >= _LEAST_T:
            yield said(
                "  {share_words}: {t}", share_words=share_words(part.driver), t=_t(part.above_usual)
            )
    yield said("By vessel: lost, usually, at targets")
    for vessel in account.by_vessel:
        name = section_words(vessel.zone, kinds)
        usual, target = _bare(vessel.usual_t), _bare(vessel.target_t)
        yield said(
            "  {name}: {t}, {usual}, {target}",
            name=name,
            t=_t(vessel.lost),
            usual=usual,
            target=target,
        )
    yield from _moves(found)
    for item in account.findings:
        name = words_of(item.cause).name
        whole = (
            ""
            if abs(item.here.mid - item.lost_t) < _LEAST_T
            else said(" of {bare}", bare=_bare(item.lost_t))
        )
        yield said(
            "Finding {finding_id}: {name}, {t}{whole} in these hours",
            finding_id=item.finding_id,
            name=name,
            t=_t(item.here),
            whole=whole,
        )
    for row in found.notices:
        hours = span_words(row["started"], row["ended"], zone)
        yield said(
            "Notice, {hours}: {notice_words}: {text}",
            hours=hours,
            notice_words=notice_words(row["kind"]),
            text=stored(clean(row["text"], 400)),
        )
    for note in found.notes:
        yield note_words(found.mill, note)
    for what, why in not_computed(found):
        yield said("Not computed: {what}: {why}", what=what, why=why)


def _t(amount: Tonnes) -> str:
    return tonnes(amount.mid, amount.low, amount.high)


def _bare(amount: float) -> str:
    return bare_tonnes(amount, None, None)


def _beside(found: Answer) -> Iterator[str]:
    if found.beside is None:
        return
    other: PeriodAccount = found.beside.account
    span = span_words(found.beside.window.start, found.beside.window.end, found.mill.tz)
    yield said(
        "Beside {span}: {t}, {feed_share} of the sucrose fed",
        span=span,
        t=_t(other.lost),
        feed_share=feed_share(other.lost_pct),
    )
    again = scaled(found.account, other)
    if again is not None:
        yield said(
            "  at that loss for each tonne fed, these hours would have lost {bare}",
            bare=_bare(again),
        )


def _moves(found: Answer) -> Iterator[str]:
    if found.told is None or found.known is None:
        return
    clear = [m for m in found.told.moves if m.departure.clear]
    if not clear:
        yield said("No signal moved clearly.")
    elif found.told.on_clock:
        yield said("Moved, first one first:")
    else:
        # The order is the juice's own: further down it saw the same hour later by the clock.
        yield said("Moved, in the order that the juice met it, by the clock at each tag:")
    for item in clear[:_MOVES]:
        when = moment_of_move(item, found.told, found.known)
        yield said(
            "  {what_of} ({tags_of}) {when}",
            what_of=what_of(item.signal),
            tags_of=tags_of(item.signal),
            when=when,
        )
    if len(clear) > _MOVES:
        yield said("  and {clear} more: see the page", clear=len(clear) - _MOVES)
