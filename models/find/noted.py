"""What the search does with what was noted: probes that step, stops that went as planned."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final

import numpy as np
import polars as pl

from features.base import Station
from models.account import Calibration, Note, hours_of
from models.amount import LabPoints, ProbeBias, lab_series, probe_biases
from models.base import Array, Minutes
from models.detect import MUD_SUFFIX, Candidate
from models.find.rows import ranked

#: What a probe's step makes begins or ends so near to it (estimate).
_NEAR: Final = timedelta(hours=24)
_STOPS: Final = frozenset({"stop", "cleaning"})
#: Kinds of notes behind which results may read otherwise.
_METHODS: Final = frozenset({"reagent", "method"})
#: A stop may begin and end so much off its plan.
_LEEWAY: Final = timedelta(minutes=30)
#: What stays in the vessels of a stop that was handled well, of what they held before (estimate).
_MOST_LEFT: Final = 0.25
#: So long before a stop its vessels hold what is usual [min].
_BEFORE_MIN: Final = 60


def probe_truth(
    minutes: Minutes, lab: pl.DataFrame, points: LabPoints, calibrated: Sequence[Calibration] = ()
) -> tuple[dict[str, ProbeBias], Array]:
    """Bias of each pH probe and the laboratory's shared shift; see `models.amount.probe_biases`.

    Parameters
    ----------
    minutes : Minutes
    lab : polars.DataFrame
    points : LabPoints
    calibrated : sequence of Calibration
        Where a bias may step.
    """
    readings = {
        "mixed": minutes.station["ph_mixed"],
        "limed": minutes.station["ph_limed"],
        "clear": minutes.station["ph_clear"],
    }
    where = {"mixed": points.mixed, "limed": points.limed, "clear": points.clear}
    series = {name: lab_series(lab, minutes, "ph", point) for name, point in where.items()}
    grabs = {n: (s.times_h, s.values, s.sd) for n, s in series.items() if len(s)}
    times = {name: hours_of(calibrated, name, minutes) for name in readings}
    return probe_biases(minutes.hours, readings, grabs, ~minutes.stopped, times)


def within(calibrated: Sequence[Calibration], minutes: Minutes) -> tuple[Calibration, ...]:
    """Calibrations that ended in the minutes searched."""
    return tuple(c for c in calibrated if 0 < minutes.index_of(c.note.ended) < minutes.n)


def method_changes(notes: Sequence[Note], minutes: Minutes) -> list[float]:
    """When another reagent or method was noted to begin [h since the first minute]."""
    begun = [minutes.index_of(n.started) for n in notes if n.kind in _METHODS]
    return [at / 60.0 for at in begun if 0 < at < minutes.n]


def with_unexplained(
    found: pl.DataFrame, plain: pl.DataFrame, calibrated: Sequence[Calibration]
) -> pl.DataFrame:
    """Findings with those of a search without calibrations that no calibration explains.

    A probe whose error may step moves the pH of days; what stood near the least that is listed may
    fall below it. No loss is hidden by a note, so that only what begins or ends near a calibration,
    as the step of a probe does, is left to the search that knows of it.

    Parameters
    ----------
    found, plain : polars.DataFrame
        Columns of ``models.find.FINDING_COLUMNS``: of the search that knew of the calibrations, and
        of the one that did not.
    calibrated : sequence of Calibration

    Returns
    -------
    polars.DataFrame
        All of `found`, and those of `plain` that share no minute with them; ranked anew.
    """
    ends = [item.note.ended for item in calibrated]
    more = [
        row
        for row in plain.to_dicts()
        if not any(abs(row[side] - end) <= _NEAR for side in ("started", "ended") for end in ends)
        and found.filter(
            (pl.col("started") < row["ended"]) & (pl.col("ended") > row["started"])
        ).is_empty()
    ]
    return ranked([*found.to_dicts(), *more]) if more else found


def without_planned(
    found: Sequence[Candidate], minutes: Minutes, station: Station, notes: Sequence[Note]
) -> list[Candidate]:
    """Candidates without the stops that were planned and handled so: the settlers were emptied.

    Settlers hold nearly all of the hot juice. Such a stop is no surprise and no finding; it is told
    as a notice, with the little that it lost. One whose settlers stayed full, whose levels nobody
    measured or that went on for longer than planned stays a candidate.

    Parameters
    ----------
    found : sequence of Candidate
    minutes : Minutes
    station : Station
    notes : sequence of Note
        What was known beforehand.

    Returns
    -------
    list of Candidate
        In order of time. Lesser episodes that such a stop had taken up stand on their own.
    """
    planned = [note for note in notes if note.kind in _STOPS]
    settlers = {vessel.name for vessel in station.of_kind("settler")}
    hot = [zone for zone in minutes.zones if zone.removesuffix(MUD_SUFFIX) in settlers]
    kept: list[Candidate] = []
    for item in found:
        if item.channel.name == "standing" and _as_planned(item, minutes, hot, planned):
            kept += [Candidate(*part) for part in item.joined]
        else:
            kept.append(item)
    return sorted(kept, key=lambda c: c.span.start)


def _as_planned(
    item: Candidate, minutes: Minutes, hot: Sequence[str], planned: Sequence[Note]
) -> bool:
    first, last = minutes.at(item.span.start), minutes.at(item.span.end)
    inside = any(n.started - _LEEWAY <= first and last <= n.ended + _LEEWAY for n in planned)
    if not (inside and hot):
        return False
    start, end = item.span.start, item.span.end
    before = _held(minutes, hot, max(start - _BEFORE_MIN, 0), start)
    return _held(minutes, hot, (start + end) // 2, end) <= _MOST_LEFT * before


def _held(minutes: Minutes, zones: Sequence[str], start: int, end: int) -> float:
    """Mean content of some vessels over some minutes [m3]; NaN where one is unknown."""
    total = 0.0
    for zone in zones:
        volume = minutes.zones[zone]["volume_m3"][start:end]
        known = volume[np.isfinite(volume)]
        total += float(known.mean()) if len(known) else float("nan")
    return total
