"""What makes the pH fall further than usual between limed and clear juice, and by how much.

Some causes have a size in pH of their own: a probe that left the laboratory's grabs, acid from
reducing sugars destroyed in juice limed too high or held too hot, lime that is still reacting when
the juice leaves the liming tank, lactic acid made in the settler. Each claims its size, shrunk by
the error of it. Others only show that they may be: juice that crosses the settler too fast, or a
settler cool enough to grow in. They share what the sized ones leave, as far as they convince. The
rest stays unexplained.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from features.base import VesselKind
from features.flow import probe_signal, souring_1_min
from features.kinetics import BUFFER_MEQ_KG_PH
from models.base import Array, Minutes
from models.cause.crossing import crossing_clue
from models.cause.episode import Clue, NamedCause, fact, mean_in, probe_words, usual_of
from models.cause.grabs import GrabGap, grab_gap, lab_mean
from models.cause.sensor_fault import Case, SensorFault
from models.detect import Candidate, Context

#: The limed juice is known to about this much: no cause may claim it [pH].
LEAST_UNEXPLAINED_PH = 0.02
#: Grabs that must contradict a probe before it is blamed for a whole fall, the share of the fall
#: they must deny it, and in how many standard errors (judgement).
_LEAST_GRABS, _FALSE_SHARE, _FALSE_Z = 3, 0.75, 3.0
#: Alternatives under this weight are not told with facts (judgement).
_TOLD_WEIGHT = 0.1
#: Relative error of acid made from reducing sugars (estimate: acid per hexose is one to two).
_SOURING_REL_SD = 0.4
#: Fall of pH that lime and phosphate still make after the lime is in [pH], the time they take in
#: a stirred tank at its target temperature [min], doubled by ten kelvin less, and the relative
#: error of what is worked out with them (memory: minutes to a quarter of an hour, 0.3-0.8 pH).
_REACTION_PH, _REACTION_MIN, _REACTION_REL_SD = 0.6, 10.0, 0.5
#: Molar mass of lactic acid [g/mol]; it has one acid group.
LACTIC_G_MOL = 90.08
#: Juice cooler than this is grown in (memory: thermophiles 50-75 degC), and how sharp that is [K].
_GROWTH_DEGC, _GROWTH_SD_K = 75.0, 3.0


@dataclass(frozen=True)
class _Fall:
    """An episode of pH falling further, and by how much [pH]."""

    item: Candidate
    context: Context
    ph: float

    def mean(self, values: Array) -> float:
        return mean_in(values, self.item)

    def usual(self, values: Array) -> float:
        return usual_of(values, self.context)


def judge_fall(item: Candidate, context: Context) -> NamedCause:
    """Weights of the causes of a fall of pH on the way.

    Parameters
    ----------
    item : Candidate
        Of the channel ``drop``.
    context : Context

    Returns
    -------
    NamedCause
        ``unexplained`` keeps at least `LEAST_UNEXPLAINED_PH` of the fall.
    """
    drop = _true_drop(item, context)
    usual = usual_of(drop, context)
    fall = _Fall(item, context, max(0.0, mean_in(drop, item) - usual))
    clues = [clue for clue in _clues(fall) if clue is not None]
    weights = share_out(fall.ph, clues)
    facts = [_fall_fact(fall, usual)]
    told = sorted(clues, key=lambda c: -weights.get(c.cause, 0.0))
    for clue in told:
        facts += clue.facts if weights.get(clue.cause, 0.0) >= _TOLD_WEIGHT else []
    return NamedCause(max(weights, key=weights.__getitem__), weights, facts)


def _fall_fact(fall: _Fall, usual: float) -> dict[str, object]:
    if _limed_known(fall.item, fall.context):
        text = "pH falls between limed and clear juice by"
        return fact(text, usual + fall.ph, "pH", usual=usual)
    text = "clear juice stands below its usual, limed juice not measured, by"
    return fact(text, fall.ph, "pH")


def share_out(fall_ph: float, clues: list[Clue]) -> dict[str, float]:
    """Share of a fall that each cause claims.

    Parameters
    ----------
    fall_ph : float
        Fall beyond the usual [pH].
    clues : list of Clue
        Those with a size claim it as far as its error lets them; those without share the rest.

    Returns
    -------
    dict of str to float
        Weights with ``unexplained``, which sum to 1.
    """
    room = max(fall_ph - LEAST_UNEXPLAINED_PH, 0.0)
    claims = {c.cause: _claim(c) for c in clues if c.chance is None}
    claimed = sum(claims.values())
    if claimed > room:
        claims = {cause: size * room / claimed for cause, size in claims.items()}
    left = room - sum(claims.values())
    open_to = {c.cause: c.chance for c in clues if c.chance is not None}
    crowd = max(sum(open_to.values()), 1.0)
    claims |= {cause: left * chance / crowd for cause, chance in open_to.items()}
    total = max(fall_ph, LEAST_UNEXPLAINED_PH)
    weights = {cause: size / total for cause, size in claims.items() if size > 0.0}
    return weights | {"unexplained": 1.0 - sum(weights.values())}


def _claim(clue: Clue) -> float:
    """Size times the share of its square that is no error: half of it where both are equal [pH]."""
    size = max(clue.size_ph, 0.0)
    return size**3 / (size**2 + clue.sd_ph**2) if size > 0.0 else 0.0


def clear_probe_fault(case: Case) -> SensorFault | None:
    """A clear-juice probe that fell alone: the laboratory's grabs stayed where they were.

    None where the grabs fell with it, or are too few to say.
    """
    if case.context is None:
        return None
    signal = probe_signal(case.station, "clear")
    gap = grab_gap(case.item, case.context, "clear", below=True)
    drop = _true_drop(case.item, case.context)
    fall = mean_in(drop, case.item) - usual_of(drop, case.context)
    if signal is None or gap is None or gap.grabs < _LEAST_GRABS:
        return None
    if not gap.ph >= max(_FALSE_SHARE * fall, _FALSE_Z * gap.sd_ph):
        return None
    why = (
        f"clear-juice pH down by {fall:.2f}, but {gap.grabs} grabs of the laboratory say that "
        f"the probe reads {gap.ph:.2f} too low."
    )
    return case.fault(signal, why)


def _clues(fall: _Fall) -> Iterator[Clue | None]:
    low = grab_gap(fall.item, fall.context, "clear", below=True)
    yield None if low is None else _gap_clue(fall, low, "clear_probe_low", "settler")
    high = grab_gap(fall.item, fall.context, "limed", below=False)
    yield None if high is None else _gap_clue(fall, high, "ph_probe_high", "liming_tank")
    yield _invert_destruction(fall)
    yield _late_reaction(fall)
    yield _infection(fall)
    yield crossing_clue(fall.item, fall.context)


def _gap_clue(fall: _Fall, gap: GrabGap, cause: str, kind: VesselKind) -> Clue:
    juice, side = ("clear", "below") if kind == "settler" else ("limed", "above")
    probe = probe_words(fall.context.station, kind)
    text = f"{juice}-juice probe{{tag}} stands {side} {{n}} grabs, more than usual, by"
    told = fact(text, gap.ph, "pH", tag=probe, n=str(gap.grabs))
    return Clue(cause, gap.ph, gap.sd_ph, facts=[told])


def _limed_known(item: Candidate, context: Context) -> bool:
    """Whether the limed juice of an episode was measured."""
    return math.isfinite(mean_in(context.minutes.station["ph_drop_settler"], item))


def _true_drop(item: Candidate, context: Context) -> Array:
    """Fall from the limed juice to the clear juice it became, both probes put right [pH].

    Without limed juice, clear juice below pH 0: only differences count.
    """
    drop = context.minutes.station["ph_drop_settler"]
    known = _limed_known(item, context)
    if not known:
        drop = -context.minutes.station["ph_clear"]
    limed, clear = (context.biases.get(point) for point in ("limed", "clear"))
    if limed is not None and known:
        drop = drop - limed.bias
    return drop if clear is None else drop + clear.bias


def _settlers(context: Context) -> list[str]:
    return [v.name for v in context.station.of_kind("settler") if v.name in context.minutes.zones]


def _mean_of(minutes: Minutes, zones: list[str], column: str) -> Array:
    return np.mean([minutes.zones[z][column] for z in zones], axis=0)


def _invert_destruction(fall: _Fall) -> Clue | None:
    """Acid from reducing sugars: more in juice limed higher, and in hotter juice."""
    context, station = fall.context, fall.context.station
    zones = _settlers(context)
    if not zones:
        return None
    temp = _mean_of(context.minutes, zones, "temp_degc")
    limed = context.minutes.station["ph_limed"]
    stay_min = fall.usual(_mean_of(context.minutes, zones, "residence_min"))
    clear = station.targets.ph_clear

    def made(ph: float, degc: float) -> float:
        return stay_min * float(souring_1_min(station, degc)) * 3.0 ** (0.5 * (ph + clear) - 7.0)

    values = [fall.usual(limed), fall.mean(limed), fall.usual(temp), fall.mean(temp)]
    if not all(math.isfinite(v) for v in (*values, stay_min)):
        return None
    ph_usual, ph_now, usual_degc, now_degc = values
    size = made(ph_now, now_degc) - made(ph_usual, usual_degc)
    facts = [
        fact("limed juice", ph_now, "pH", usual=ph_usual),
        fact("juice in {place}", now_degc, "degC", usual=usual_degc, place=zones[0]),
        fact("reducing sugars destroyed by that lower the pH by", size, "pH"),
    ]
    return Clue("invert_destruction", size, _SOURING_REL_SD * abs(size), facts=facts)


def _late_reaction(fall: _Fall) -> Clue | None:
    """Lime and phosphate that had too little time, or too little heat, in the liming tank."""
    context = fall.context
    tanks = [v for v in context.station.of_kind("liming_tank") if v.name in context.minutes.zones]
    if not tanks:
        return None
    names = [v.name for v in tanks]
    stay = _mean_of(context.minutes, names, "residence_min")
    temp = _mean_of(context.minutes, names, "temp_degc")
    target = float(np.mean([v.temp_degc for v in tanks]))

    def left(stay_min: float, degc: float) -> float:
        takes_min = _REACTION_MIN * 2.0 ** ((target - degc) / 10.0)
        return _REACTION_PH / (1.0 + stay_min / takes_min)

    usual_min, now_min = fall.usual(stay), fall.mean(stay)
    usual_degc, now_degc = fall.usual(temp), fall.mean(temp)
    if not all(math.isfinite(v) for v in (usual_min, now_min, usual_degc, now_degc)):
        return None
    stayed = "residence time in {place}"
    facts = [fact(stayed, now_min, "min", usual=usual_min, place=names[0])]
    if abs(now_degc - usual_degc) >= 1.0:
        facts.append(fact("juice in {place}", now_degc, "degC", usual=usual_degc, place=names[0]))
    phosphate = lab_mean(fall.item, context, "phosphate", "mixed")
    more = 1.0
    if phosphate is not None:
        more = phosphate.now / phosphate.usual if phosphate.usual > 0.0 else 1.0
        text = "phosphate in mixed juice"
        facts.append(fact(text, phosphate.now, "mg/kg", usual=phosphate.usual))
    size = more * left(now_min, now_degc) - left(usual_min, usual_degc)
    return Clue("late_lime_reaction", size, _REACTION_REL_SD * abs(size), facts=facts)


def _infection(fall: _Fall) -> Clue | None:
    """Acid made by microbes in the settler: by lactic acid, else by how cool it is."""
    context = fall.context
    after = lab_mean(fall.item, context, "lactic", "clear")
    before = lab_mean(fall.item, context, "lactic", "limed")
    if after is not None and before is not None:
        rise = after.rise - before.rise
        per_ph = LACTIC_G_MOL * BUFFER_MEQ_KG_PH
        text = "lactic acid made between limed and clear juice, above its usual"
        sd = math.hypot(after.rise_sd, before.rise_sd) / per_ph
        return Clue("settler_infection", rise / per_ph, sd, facts=[fact(text, rise, "mg/kg")])
    zones = _settlers(context)
    measured = [z for z in zones if float(np.nanstd(context.minutes.zones[z]["temp_degc"])) > 0.0]
    if not measured:
        return None
    now = fall.mean(_mean_of(context.minutes, measured, "temp_degc"))
    if not math.isfinite(now):
        return None
    chance = 0.5 * math.erfc((now - _GROWTH_DEGC) / _GROWTH_SD_K / math.sqrt(2.0))
    cool = "juice in {place}, where microbes grow below 75 °C"
    facts = [fact(cool, now, "degC", place=measured[0])]
    dextran = lab_mean(fall.item, context, "dextran", "clear")
    if dextran is not None and chance >= _TOLD_WEIGHT:
        facts.append(fact("dextran in clear juice", dextran.now, "mg/kg", usual=dextran.usual))
    return Clue("settler_infection", chance=chance, facts=facts)
