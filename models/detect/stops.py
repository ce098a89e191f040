"""What a stop truly lost, vessel by vessel: by what was really held, and how hot.

Juice that is pumped on within its usual stay loses there what it would have lost anyway: that is
no loss of the stop. What stays behind counts in full, for all of its hours come on top. A vessel
that steam heats and nothing measures does not stay at its target without feed: it is taken to be
as warm as the warmest juice that is measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from features.base import Station
from features.kinetics import temp_factor
from models.amount import Excess
from models.base import Array, Minutes
from models.detect.channels import stop_runs, zone_kinds
from models.detect.joined import Candidate

#: Vessels that steam heats; in a stop there is nothing to boil (common practice: steam is shut).
_STEAMED = ("heater", "clear_juice_heater", "evaporator_vessel", "flash_tank")
#: Usual stay in one vessel is taken from the hours before a stop, within these bounds [min].
_BEFORE_MIN, _LONGEST_STAY_MIN = 180, 240


def with_stops(excess: Excess, minutes: Minutes, station: Station) -> Excess:
    """Loss of stops, put right for what was drained and for what nobody measured.

    Parameters
    ----------
    excess : Excess
    minutes : Minutes
    station : Station

    Returns
    -------
    Excess
        The same outside of stops. In them ``loss_kg_h`` of a steamed vessel without a thermometer
        is that at the warmest measured juice, and ``reference_kg_h`` of a vessel that is being
        drained is what the drained juice would have lost anyway [kg/h].
    """
    stops = stop_runs(minutes)
    warmest = _warmest(minutes)
    kinds = zone_kinds(station, list(minutes.zones))
    loss, reference = dict(excess.loss_kg_h), dict(excess.reference_kg_h)
    for zone, columns in minutes.zones.items():
        if kinds[zone] in _STEAMED and not _moves(columns["temp_degc"]):
            loss[zone] = _cooled(loss[zone], columns["temp_degc"], warmest, stops)
        reference[zone] = reference[zone] + _ordinary(loss[zone], columns, minutes, stops)
    return replace(excess, loss_kg_h=loss, reference_kg_h=reference)


def at_its_vessel(item: Candidate, excess: Excess) -> Candidate:
    """A stop told at the vessel that lost most in it; other candidates as they are."""
    if item.channel.name != "standing":
        return item
    window = slice(item.span.start, item.span.end)
    section = max(
        item.channel.zones,
        key=lambda z: float(np.nansum((excess.loss_kg_h[z] - excess.reference_kg_h[z])[window])),
    )
    return replace(item, channel=replace(item.channel, section=section))


def _moves(values: Array) -> bool:
    """Whether a series was measured: one that never moves is a target standing in."""
    known = values[np.isfinite(values)]
    return len(known) > 0 and float(np.ptp(known)) > 1e-6


def _warmest(minutes: Minutes) -> Array:
    """Warmest juice that is measured, by minute [degC]; NaN where none is."""
    measured = [c["temp_degc"] for c in minutes.zones.values() if _moves(c["temp_degc"])]
    if not measured:
        return np.full(minutes.n, np.nan)
    return np.asarray(np.fmax.reduce(measured))


def _cooled(
    loss_kg_h: Array, temp_degc: Array, warmest: Array, stops: Iterable[tuple[int, int]]
) -> Array:
    """Loss in stops at the warmest measured temperature, where that is below the target."""
    changed = loss_kg_h.copy()
    for start, end in stops:
        part = slice(start, end)
        known = np.where(np.isfinite(warmest[part]), warmest[part], np.inf)
        degc = np.minimum(temp_degc[part], known)
        changed[part] *= np.asarray(temp_factor(degc)) / np.asarray(temp_factor(temp_degc[part]))
    return changed


def _ordinary(
    loss_kg_h: Array,
    columns: dict[str, Array],
    minutes: Minutes,
    stops: Iterable[tuple[int, int]],
) -> Array:
    """Loss of juice that left a vessel in a stop no later than it usually would [kg/h].

    Of what is held at a minute, the part that is gone once the usual stay is over was on its way.
    """
    ordinary = np.zeros(minutes.n)
    volume, stay = columns["volume_m3"], columns["residence_min"]
    for start, end in stops:
        before = stay[max(start - _BEFORE_MIN, 0) : start]
        before = before[np.isfinite(before)]
        if not len(before):
            continue
        over = min(start + round(min(float(np.median(before)), _LONGEST_STAY_MIN)), end)
        held = volume[start:over]
        if over <= start or not np.isfinite(held).any():
            continue
        stays = np.nanmin(volume[max(over - 1, start) : over + 1])
        gone = np.clip(1.0 - stays / np.maximum(held, 1e-9), 0.0, 1.0)
        ordinary[start:over] = np.nan_to_num(gone * loss_kg_h[start:over])
    return ordinary
