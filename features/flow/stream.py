"""Juice on its way through the train: what a parcel carries and the doses it takes up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from features.base import BoolArray, FloatArray
from features.flow.contents import Content
from features.flow.residence import mix_parallel


class Tracer(IntEnum):
    """Columns that move with the juice, unchanged except for the last two.

    `SOURED` is how far pH has fallen by acid made since the last probe, `TO_FALL` the share of a
    settler's fall of pH that is still to come.
    """

    BRIX = 0
    PURITY = 1
    PH = 2
    PH_LIMED = 3
    JUICE_KNOWN = 4
    PH_KNOWN = 5
    LIMED_KNOWN = 6
    SOURED = 7
    TO_FALL = 8


class Dose(IntEnum):
    """Columns that grow while the juice stays somewhere; the first two restart in every zone."""

    EXPOSURE_ZONE = 0
    GAP_ZONE = 1
    MINUTES = 2
    EXPOSURE = 3
    INVERSION = 4
    INVERSION_LIMED = 5
    RS_LIMED = 6
    GAP = 7


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """Juice at one point of the train.

    Attributes
    ----------
    flow_m3_h : ndarray, shape (n,)
        Flow [m3/h], not negative.
    flow_known : ndarray of bool, shape (n,)
        False in gaps too long to bridge.
    tracers : ndarray, shape (n, len(Tracer))
        What the parcels carry.
    doses : ndarray, shape (n, len(Dose))
        What the parcels took up so far.
    """

    flow_m3_h: FloatArray
    flow_known: BoolArray
    tracers: FloatArray
    doses: FloatArray

    def with_tracers(self, **columns: FloatArray | BoolArray) -> Stream:
        """Copy with some tracers set anew, named as in `Tracer` in lower case."""
        tracers = self.tracers.copy()
        for name, values in columns.items():
            tracers[:, Tracer[name.upper()]] = values
        return replace(self, tracers=tracers)

    def restarted(self, *doses: Dose) -> Stream:
        """Copy with some doses back at zero."""
        kept = self.doses.copy()
        kept[:, list(doses)] = 0.0
        return replace(self, doses=kept)


def join(streams: list[Stream]) -> Stream:
    """Join parallel streams, each weighing by its flow."""
    if len(streams) == 1:
        return streams[0]
    flows = [s.flow_m3_h for s in streams]
    return Stream(
        flow_m3_h=np.asarray(np.sum(flows, axis=0)),
        flow_known=np.logical_and.reduce([s.flow_known for s in streams]),
        tracers=mix_parallel(flows, [s.tracers for s in streams]),
        doses=mix_parallel(flows, [s.doses for s in streams]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Passage:
    """How juice passes a zone.

    Attributes
    ----------
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume the juice reaches, at the edges of the minutes [m3].
    tanks : int
        Stirred tanks in series; 0 stands for plug flow.
    usual_flow_m3_h : float
        Flow that filled the zone before the first minute [m3/h].
    drawn_m3_h : ndarray, shape (n,)
        Flow taken from the first tank by another way (mud juice) [m3/h].
    souring_1_min : ndarray, shape (n,), or None
        Growth of `Tracer.SOURED` in the zone, as at pH 7 [1/min]; None where it does not grow.
    fall_min : float or None
        Time constant with which `Tracer.TO_FALL` fades in the zone [min]; None where it does not.
    """

    volume_edges_m3: FloatArray
    tanks: int
    usual_flow_m3_h: float
    drawn_m3_h: FloatArray
    souring_1_min: FloatArray | None = None
    fall_min: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """Juice after a zone, and what the zone held.

    Attributes
    ----------
    tracers, doses : ndarray, shape (n, m)
        Of the juice leaving.
    first_tracers, first_doses : ndarray, shape (n, m)
        Of the juice in the first tank.
    contents : tuple of Content
        Juice in each tank, or in the pipe.
    residence_min, residence_sd_min : ndarray, shape (n,)
        Time in the zone of the juice leaving [min].
    flow_out_m3_h : ndarray, shape (n,)
        Outflow by balance [m3/h].
    """

    tracers: FloatArray
    doses: FloatArray
    first_tracers: FloatArray
    first_doses: FloatArray
    contents: tuple[Content, ...]
    residence_min: FloatArray
    residence_sd_min: FloatArray
    flow_out_m3_h: FloatArray
