"""What a stop truly lost, vessel by vessel: by what was really held, and how hot.

Juice that is pumped on within its usual stay loses there what it would have lost anyway: that is
no loss of the stop. What stays behind counts in full, for all of its hours come on top. What no
tag tells of is not counted (`models.detect.contents`); the finding says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from features.base import Station
from models.amount import Excess
from models.base import Array, Minutes
from models.detect.channels import stop_runs
from models.detect.contents import untold
from models.detect.joined import Candidate

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
        The same outside of stops. In them ``reference_kg_h`` of a vessel that is being drained is
        what the drained juice would have lost anyway, and ``loss_kg_h`` of one whose content or
        heat nobody knows is its reference [kg/h], not `measured`.
    """
    stops = stop_runs(minutes)
    loss, reference = dict(excess.loss_kg_h), dict(excess.reference_kg_h)
    for zone, columns in minutes.zones.items():
        reference[zone] = reference[zone] + _ordinary(loss[zone], columns, minutes, stops)
    measured = excess.measured.copy()
    for start, end in stops:
        for part in untold(minutes, station, start, end):
            window = slice(part.start, part.end)
            loss[part.zone] = loss[part.zone].copy()
            loss[part.zone][window] = reference[part.zone][window]
            measured[window] = False
    return replace(excess, loss_kg_h=loss, reference_kg_h=reference, measured=measured)


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
        left = volume[max(over - 1, start) : over + 1]
        if not np.isfinite(left).any():
            continue
        stays = np.nanmin(left)
        gone = np.clip(1.0 - stays / np.maximum(held, 1e-9), 0.0, 1.0)
        ordinary[start:over] = np.nan_to_num(gone * loss_kg_h[start:over])
    return ordinary
