"""All that is answered about a period: its account, beside another, and what moved first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

import polars as pl

from models.account import (
    DRIVERS_OF,
    Note,
    PeriodAccount,
    Tonnes,
    Touching,
    family_of,
    touching,
)
from pipeline.base import Window
from pipeline.lake import NOTICES, lake_of
from pipeline.mill import Mill
from pipeline.period.moves import Around, Told, around, told_of
from pipeline.period.notes import notes_of
from pipeline.period.reckoned import Reckoned, reckon
from pipeline.period.sentence import explained, sentence_of
from pipeline.store import published_store_of
from pipeline.words import (
    bare_tonnes,
    duration_words,
    figure,
    joined,
    said,
    section_words,
    share_words,
    within_line,
    words_of,
)

#: A finding that holds this share of what lies above the usual names the period's loss.
_LEADING: Final = 0.5
#: And at least this share of all that was lost: the edge of a finding names no quiet hours.
_LEAST_SHARE: Final = 0.05
#: Findings from this share of all that was lost on are told of hours that none of them leads.
_TOLD_SHARE: Final = 0.005
#: A notice that began longer ago is of a laboratory or of cane, and told elsewhere.
_NOTICE_LASTS: Final = timedelta(days=10)
#: Hours without knowledge that are worth a line.
_TOLD_H: Final = 0.25


@dataclass(frozen=True)
class Answer:
    """What is answered about a period.

    Attributes
    ----------
    mill : Mill
    window : Window
    reckoned : Reckoned
    beside : Reckoned or None
        Of the other period, where one was named.
    cause, zone : str
        What leads its loss: cause of a finding (empty without one), and where.
    driver : str
        The largest driver above the usual.
    known : Around or None
        Signals around it.
    told : Told or None
        What moved.
    sentence : str
        What to say first.
    sensors : polars.DataFrame
        Health of the tags on its days.
    notes : tuple of Note
        What was known of its hours beforehand.
    notices : tuple of dict
        What looked odd in them and lost nothing: started, ended, kind, text.
    """

    mill: Mill
    window: Window
    reckoned: Reckoned
    beside: Reckoned | None
    cause: str
    driver: str
    zone: str
    known: Around | None
    told: Told | None
    sentence: str
    sensors: pl.DataFrame
    notes: tuple[Note, ...] = ()
    notices: tuple[dict[str, Any], ...] = ()

    @property
    def account(self) -> PeriodAccount:
        """Account of the period."""
        return self.reckoned.account


def answer(mill: Mill, window: Window, beside: Window | None = None) -> Answer:
    """Answer all about a period.

    Parameters
    ----------
    mill : Mill
    window : Window
    beside : Window, optional
        Another period to compare with, besides the mill's usual and its targets.

    Raises
    ------
    DataError
        Nothing of the period, or of the other one, was worked out.
    """
    reckoned = reckon(mill, window)
    other = None if beside is None else reckon(mill, beside)
    cause, driver, zone = leading(reckoned.account)
    known = around(mill, window)
    told = None if known is None else told_of(known, cause, driver, zone)
    return Answer(
        mill=mill,
        window=window,
        reckoned=reckoned,
        beside=other,
        cause=cause,
        driver=driver,
        zone=zone,
        known=known,
        told=told,
        sentence=_sentence(reckoned.account, cause, driver, zone, told, known),
        notes=tuple(touching(notes_of(mill), window.start, window.end)),
        notices=_notices(mill, window),
        sensors=published_store_of(mill).sensors(window.start.date(), window.end.date()),
    )


def _notices(mill: Mill, window: Window) -> tuple[dict[str, Any], ...]:
    """Notices that touch a period; each is filed under its first day."""
    first, last = window.days
    frame = lake_of(mill).read_features(NOTICES, first - _NOTICE_LASTS, last)
    if frame.is_empty():
        return ()
    touch = (pl.col("started") < window.end) & (pl.col("ended") > window.start)
    return tuple(frame.filter(touch).sort("started", "kind").to_dicts())


def leading(account: PeriodAccount) -> tuple[str, str, str]:
    """Cause, driver and zone that lead what a period lost above the usual."""
    most = max(account.findings, key=lambda f: f.here.mid, default=None)
    driver = max(account.by_driver, key=lambda part: part.above_usual.mid).driver
    least = max(_LEADING * abs(account.above_usual.mid), _LEAST_SHARE * account.lost.mid)
    if most is not None and most.here.mid >= least:
        return most.cause, driver, most.section
    zone = max(account.by_vessel, key=lambda part: part.by_driver.get(driver, 0.0), default=None)
    return "", driver, "" if zone is None else zone.zone


def _sentence(
    account: PeriodAccount,
    cause: str,
    driver: str,
    zone: str,
    told: Told | None,
    known: Around | None,
) -> str:
    """What to say first: where anything stands out, what moved; else that nothing does."""
    above = account.above_usual
    if above.low <= 0.0 and not cause:
        if sized := [f for f in account.findings if f.here.mid >= _TOLD_SHARE * account.lost.mid]:
            return _of_findings(sized)
        usual = bare_tonnes(account.usual_t, None, None)
        return said(
            "Nothing stands out: {t} of sucrose lost, usually {usual}.",
            t=_t(account.lost),
            usual=usual,
        )
    words = sentence_of(told, known) if told is not None and known is not None else ""
    weak = told is not None and told.named is not None and told.named.weak
    share = None if weak else _share(account, cause, driver, zone)
    lost = said("{t} above the usual", t=_t(above))
    if not words:
        return said(
            "No tag moved that could have driven it: of the {lost}, most is due to {share_words}.",
            lost=lost,
            share_words=share_words(driver),
        )
    return joined(" ", (part for part in (words, explained(share, lost)) if part))


def _of_findings(found: Sequence[Touching]) -> str:
    """What to say of hours that hold several losses, none of which leads: the largest of them."""
    most = max(found, key=lambda f: f.here.mid)
    total = bare_tonnes(sum(f.here.mid for f in found), None, None)
    largest = said(
        "{within_line}, {t} (finding {finding_id})",
        within_line=within_line(words_of(most.cause).name),
        t=_t(most.here),
        finding_id=most.finding_id,
    )
    if len(found) == 1:
        return said("One finding lies in these hours: {largest}.", largest=largest)
    return said(
        "{found} findings lie in these hours, {total} together; the largest: {largest}.",
        found=len(found),
        total=total,
        largest=largest,
    )


def _share(account: PeriodAccount, cause: str, driver: str, zone: str) -> float | None:
    family = family_of(cause, driver, zone)
    if not family or account.above_usual.mid <= 0.0:
        return None
    drivers = set(DRIVERS_OF[family])
    mine = sum(p.above_usual.mid for p in account.by_driver if p.driver in drivers)
    return mine / account.above_usual.mid


def _t(amount: Tonnes) -> str:
    return bare_tonnes(amount.mid, amount.low, amount.high)


def not_computed(found: Answer) -> list[tuple[str, str]]:
    """What could not be worked out, and why."""
    account, lines = found.account, []
    if found.reckoned.unknown_h >= _TOLD_H:
        what = said(
            "{unknown_h} h of this period", unknown_h=figure(found.reckoned.unknown_h, ".1f")
        )
        lines.append((what, said("no readings, or not worked out and searched yet")))
    kinds = {v.name: str(v.kind) for v in found.mill.station.vessels}
    # One thing, as a dossier of the same hours tells it, with the same rounding.
    absent = [
        said(
            "{section_words} ({lasted})",
            section_words=section_words(vessel.zone, kinds),
            lasted=duration_words(timedelta(minutes=round(60.0 * vessel.not_measured_h))),
        )
        for vessel in account.by_vessel
        if vessel.not_measured_h >= _TOLD_H
    ]
    if absent:
        what = said(
            "Readings behind the loss in these hours: {absent}", absent=joined(", ", absent)
        )
        lines.append((what, said("not measured then; the mill's usual value stood in for them")))
    if found.told is None:
        lines.append((said("What moved first"), said("no readings lie around this period")))
    even = [f for f in account.findings if not f.by_minute]
    lines += [
        (
            said("Minutes of finding {finding_id}", finding_id=f.finding_id),
            said("its tonnes are shared evenly over its hours"),
        )
        for f in even
    ]
    return lines


def scaled(account: PeriodAccount, other: PeriodAccount) -> float | None:
    """Loss of a period at another one's loss for each tonne fed [t]; None without feed."""
    return account.fed_t * other.lost.mid / other.fed_t if other.fed_t > 0.0 else None
