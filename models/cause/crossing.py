"""Whether juice crosses the settlers faster than usual: short-circuiting, seen by transients."""

from __future__ import annotations

import math

import numpy as np

from features.flow import EffectiveResidence, effective_residence
from models.cause.episode import Clue, fact, mean_in, usual_of
from models.detect import Candidate, Context

#: How far back the usual crossing is looked at [min], and 90 % of a normal on either side.
_BEFORE_MIN, _Z90 = 3 * 1440, 1.645
#: Clear juice so many times as turbid as usual bears it out; without, it is half believed
#: (common practice: juice that crosses too fast carries its mud along; sizes are judgement).
_TURBID, _UNBORNE = 1.3, 0.5


def crossing_clue(item: Candidate, context: Context) -> Clue | None:
    """Chance that the juice crossed the settlers faster than usual.

    The limed-juice pH swings, and the clear juice follows later and rounder. From both the volume
    is found that the juice passes through, in the episode and in the days before it.

    Returns
    -------
    Clue or None
        None where there is no settler, or the swings of either time settle no volume.
    """
    start, end = item.span.start, item.span.end
    before = _crossed(context, max(start - _BEFORE_MIN, 0), start)
    during = _crossed(context, start, end)
    if before is None or during is None:
        return None
    usual_m3, now_m3 = before.volume_m3 or 0.0, during.volume_m3 or 0.0
    error = math.hypot(_sd(before), _sd(during))
    z = (usual_m3 - now_m3) / max(error, 1e-9)
    chance = 0.5 * math.erfc(-(z - _Z90) / math.sqrt(2.0))
    text = "volume of the settler that the juice passes through"
    facts = [fact(text, now_m3, "m3", usual=usual_m3)]
    turbidity = context.minutes.station["turbidity_clear"]
    usual_ntu, now_ntu = usual_of(turbidity, context), mean_in(turbidity, item)
    if math.isfinite(now_ntu) and math.isfinite(usual_ntu):
        facts.append(fact("turbidity of clear juice", now_ntu, "NTU", usual=usual_ntu))
    if not now_ntu >= _TURBID * usual_ntu:
        chance *= _UNBORNE
    return Clue("short_circuiting", chance=chance, facts=facts)


def _crossed(context: Context, start: int, end: int) -> EffectiveResidence | None:
    """What the swings of pH tell of the volume between the two probes."""
    minutes = context.minutes
    names = [v.name for v in context.station.of_kind("settler") if v.name in minutes.zones]
    if not names:
        return None
    window = slice(start, end)
    volumes = [usual_of(minutes.zones[n]["volume_m3"], context) for n in names]
    nominal = float(np.nansum(volumes))
    station = minutes.station
    if not nominal > 0.0:
        return None
    found = effective_residence(
        station["ph_limed"][window],
        station["ph_clear"][window],
        station["flow_feed_m3_h"][window],
        nominal,
        (2, 3, 4),
    )
    return found if found.volume_m3 is not None else None


def _sd(found: EffectiveResidence) -> float:
    return ((found.high_m3 or 0.0) - (found.low_m3 or 0.0)) / (2.0 * _Z90)
