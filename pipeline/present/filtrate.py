"""Filtrate that nobody told of, from the flow meters on both sides of its return."""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from features.base import Port, Signal, Station, VesselKind
from features.flow import FiltrateShare, as_fed, filtrate_told, share_by_balance
from features.kinetics import Z90
from pipeline.lake import GRID, lake_of
from pipeline.mill import Mill
from pipeline.words import figure, said

#: Kind of vessel and side at which juice is metered once filtrate was returned.
_BEHIND: Final[tuple[tuple[VesselKind, Port], ...]] = (("liming_tank", "out"), ("settler", "in"))


def filtrate_line(mill: Mill, first: date, last: date) -> str:
    """Say that more juice is metered behind the liming tank than is fed; empty where nothing is.

    Parameters
    ----------
    mill : Mill
    first, last : date
        UTC days to look at.
    """
    found = _untold(mill, first, last)
    if found is None or found.share <= Z90 * found.sd:
        return ""
    low, high = (100.0 * (found.share + sign * Z90 * found.sd) for sign in (-1.0, 1.0))
    share = 100.0 * found.share
    return said(
        "Over {hours} h {share} % ({low} to {high} %, 90 %) more juice was "
        "metered behind the liming tank than was fed, and the description says "
        "nothing of filtrate that is returned: if it is, say share_pct = {share} "
        "under [filtrate]. Until then every stay is taken to be longer than it "
        "is.",
        hours=found.hours,
        share=figure(share, ".0f"),
        low=figure(low, ".0f"),
        high=figure(high, ".0f"),
    )


def _untold(mill: Mill, first: date, last: date) -> FiltrateShare | None:
    return None if filtrate_told(mill.station) else metered_share(mill, first, last)


def metered_share(mill: Mill, first: date, last: date) -> FiltrateShare | None:
    """Filtrate as a share of the mixed juice, from the meters on both sides of its return.

    Parameters
    ----------
    mill : Mill
    first, last : date
        UTC days to look at.

    Returns
    -------
    FiltrateShare or None
        None where one of the meters is missing or juice flowed for too few hours.
    """
    station = mill.station
    fed, behind = station.signal("flow", "mixed_juice"), _behind(station)
    if fed is None or behind is None:
        return None
    limed, limed_degc = behind
    minutes = lake_of(mill).read_features(GRID, first, last)
    names = {fed.name, limed.name}
    if not names <= {*minutes.columns}:
        return None

    def values(signal: Signal) -> NDArray[np.float64]:
        return minutes[signal.name].cast(float).fill_null(np.nan).to_numpy()

    tanks = station.of_kind("liming_tank")
    lime = station.signal("lime_flow", tanks[0].name, "in") if tanks else None
    milk = values(lime) / 1000.0 if lime is not None and lime.name in minutes.columns else 0.0
    expansion = 1.0 / float(as_fed(station, limed_degc))
    return share_by_balance(values(fed), values(limed), milk, expansion)


def _behind(station: Station) -> tuple[Signal, float] | None:
    """First flow meter between liming and settling, and the juice's temperature there [degC]."""
    before = station.targets.temp_mixed_degc
    for group in station.in_flow_order:
        vessel = group[0]
        for kind, port in _BEHIND:
            meter = station.signal("flow", vessel.name, port) if vessel.kind == kind else None
            if meter is not None:
                return meter, before if port == "in" else vessel.temp_degc
        before = vessel.temp_degc
    return None
