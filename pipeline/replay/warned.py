"""What to know before a replay is believed, in words for a person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from features.advice import USUAL_PH
from features.replay import Change
from models.replay import Saving
from pipeline.period import Reckoned

#: Share of a period that may be left unfollowed, or uncovered, without a word.
_TOLD_SHARE: Final = 0.02
#: Minutes at a bad pH that a change adds, from which on it is told [%].
_BADLY_PCT: Final = 5.0
_OWN: Final = {
    "imbibition": "What more or less water does to extraction and to steam is not in it.",
    "filtrate_to": "What microbes do in filtrate, and what it brings, is not in it.",
    "in_service": "Juice is shared by volume among the vessels in service; flocs that settle "
    "otherwise under another load are not in it.",
    "mud_level_pct": "Underflow is taken as recorded: mud of another level is thicker or thinner.",
    "stop_h": "The same juice, with the station standing for other hours: the period is as much "
    "shorter or longer.",
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
            f"Replayed tonnes are for the same sucrose fed as recorded; {saving.fed_share:.3g} "
            "times as much would have been fed in these hours."
        )
    if saving.saved.low <= 0.0 <= saving.saved.high and acting:
        found.append("The interval includes nothing saved: as far as is known it may cost as well.")
    was, now = saving.settles_badly_pct
    if now - was >= _BADLY_PCT:
        found.append(
            f"Limed juice would have stood outside pH {USUAL_PH[0]} to {USUAL_PH[1]}, where it "
            f"settles badly (common practice), for {now:.0f} % of the time; recorded {was:.0f} %."
        )
    unfollowed = saving.period_h - saving.followed_h
    if unfollowed > _TOLD_SHARE * saving.period_h:
        found.append(
            f"{unfollowed:.1f} h could not be followed, for lack of readings: the record "
            "stands there."
        )
    if reckoned.unknown_h > _TOLD_SHARE * saving.period_h:
        found.append(f"Nothing is known of {reckoned.unknown_h:.1f} h of this period.")
    if any(f.cause == "microbial" for f in reckoned.account.findings) and acting:
        found.append("What microbes ate is kept as it was.")
    if any(change.what == "ph_limed" and change.how == "to" for change in acting):
        found.append("The limed pH is held at that value throughout; no loop holds it so still.")
    return tuple(found)
