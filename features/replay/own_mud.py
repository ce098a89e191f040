"""Mud of another pH: it makes its own acid, and the less the sourer it is."""

from __future__ import annotations

import numpy as np
import polars as pl

from features.base import FloatArray, Station
from features.flow import Derived
from features.kinetics import LN3
from features.replay.readings import station_column


def with_own_mud(derived: Derived, was_clear: FloatArray, station: Station) -> Derived:
    """Replay whose mud keeps its acid, not its distance from the clear juice's pH.

    Parameters
    ----------
    derived : Derived
        Replay; its mud lies as far below its clear juice as juice of the recorded pH would.
    was_clear : ndarray, shape (n,)
        Recorded pH of clear juice [pH].
    station : Station

    Returns
    -------
    Derived
        The same object where clear juice did not move.

    Notes
    -----
    ``3**(7 - pH)`` grows by the acid made (`features.kinetics.acid`): the same acid that lowers
    juice of pH p by d lowers juice of p + s by ``log3(1 + (3**d - 1) 3**s)``.
    """
    clear = station_column(derived, "ph_clear")
    shift = np.nan_to_num(clear - was_clear)
    muds = [f"{v.name}:mud" for v in station.of_kind("settler") if v.mud_volume_m3 > 0.0]
    if not np.any(shift) or not muds:
        return derived
    parts = [
        _soured(part, clear, shift) if part["zone"][0] in muds else part
        for part in derived.zone_minutes.partition_by("zone", maintain_order=True)
    ]
    return Derived(derived.station_minutes, pl.concat(parts))


def _soured(part: pl.DataFrame, clear: FloatArray, shift: FloatArray) -> pl.DataFrame:
    """Mud with its own acid below clear juice that was moved."""
    drop = np.maximum(clear - part["ph_cold"].fill_null(np.nan).to_numpy(), 0.0)
    new = np.log1p(np.expm1(LN3 * drop) * np.exp(LN3 * shift)) / LN3
    return _lower(part, np.nan_to_num(new - drop))


def _lower(part: pl.DataFrame, by: FloatArray) -> pl.DataFrame:
    """A zone whose pH is lower [pH]; its rates with it."""
    lower, faster = pl.Series("by", by), pl.Series("faster", 10.0**by)
    slower = pl.Series("slower", 3.0**-by)
    rates = ("inversion_1_h", "loss_kg_h", "rs_made_kg_h", "f_ph")
    above = pl.col("loss_kg_h") * faster - pl.col("loss_kg_h")
    return part.with_columns(
        (pl.col("ph_cold") - lower),
        (pl.col("ph_hot") - lower),
        (pl.col("excess_kg_h") + above),
        (pl.col("rs_destroyed_kg_h") * slower),
        *((pl.col(name) * faster) for name in rates),
    )
