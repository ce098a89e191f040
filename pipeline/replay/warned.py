"""What to know before a replay is believed, in words for a person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from features.advice import USUAL_PH
from features.replay import Change
from models.replay import Saving
from pipeline.period import Reckoned
from pipeline.words import figure, said

#: Share of a period that may be left unfollowed, or uncovered, without a word.
_TOLD_SHARE: Final = 0.02
#: Minutes at a bad pH that a change adds, from which on it is told [%].
_BADLY_PCT: Final = 5.0
_OWN: Final = {
    "imbibition": said("What more or less water does to extraction and to steam is not in it."),
    "filtrate_to": said("What microbes do in filtrate, and what it brings, is not in it."),
    "in_service": said(
        "Juice is shared by volume among the vessels in service; flocs that "
        "settle otherwise under another load are not in it."
    ),
    "mud_level_pct": said(
        "Underflow is taken as recorded: mud of another level is thicker or thinner."
    ),
    "stop_h": said(
        "The same juice, with the station standing for other hours: the period is"
        " as much shorter or longer."
    ),
}


def warnings_of(changes: Sequence[Change], saving: Saving, reckoned: Reckoned) -> tuple[str, ...]:
    """Lines of warning; none where nothing was changed and all was followed.

    Parameters
    ----------
    changes : sequence of Change
    saving : Saving
    reckoned : Reckoned
    """
    acting = [change for change in changes if not change.nothing]
    found = [_OWN[change.what] for change in acting if change.what in _OWN]
    if abs(saving.fed_share - 1.0) > 1e-6:
        found.append(
            said(
                "Replayed tonnes are for the same sucrose fed as recorded; {fed_share} "
                "times as much would have been fed in these hours.",
                fed_share=figure(saving.fed_share, ".3g"),
            )
        )
    if saving.saved.low <= 0.0 <= saving.saved.high and acting:
        found.append(
            said("The interval includes nothing saved: as far as is known it may cost as well.")
        )
    was, now = saving.settles_badly_pct
    if now - was >= _BADLY_PCT:
        found.append(
            said(
                "Limed juice would have stood outside pH {usual_ph} to {usual_ph2}, where"
                " it settles badly (common practice), for {now} % of the time; recorded "
                "{was} %.",
                usual_ph=USUAL_PH[0],
                usual_ph2=USUAL_PH[1],
                now=figure(now, ".0f"),
                was=figure(was, ".0f"),
            )
        )
    unfollowed = saving.period_h - saving.followed_h
    if unfollowed > _TOLD_SHARE * saving.period_h:
        found.append(
            said(
                "{unfollowed} h could not be followed, for lack of readings: the record "
                "stands there.",
                unfollowed=figure(unfollowed, ".1f"),
            )
        )
    if reckoned.unknown_h > _TOLD_SHARE * saving.period_h:
        found.append(
            said(
                "Nothing is known of {unknown_h} h of this period.",
                unknown_h=figure(reckoned.unknown_h, ".1f"),
            )
        )
    if any(f.cause == "microbial" for f in reckoned.account.findings) and acting:
        found.append(said("What microbes ate is kept as it was."))
    if any(change.what == "ph_limed" and change.how == "to" for change in acting):
        found.append(
            said("The limed pH is held at that value throughout; no loop holds it so still.")
        )
    return tuple(found)
