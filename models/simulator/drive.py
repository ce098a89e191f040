"""What drives an integration: contents of the feed, set-points and faults, as one array."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.chemistry import juice_density_kg_m3
from models.simulator.disturb import Drive
from models.simulator.parameters import PlantParameters

Floats = NDArray[np.float64]

#: Columns of the drive matrix, after the seven feed contents.
DRIVE_COLUMNS = (
    "rate", "ph_setpoint", "probe_bias", "hold", "lime_strength", "temp_primary", "temp_secondary",
    "temp_flash", "temp_heater", "temp_evaporator", "cooling", "mud_level", "underflow",
    "tank_level", "evaporator_level", "evaporator_gain", "drain", "vigour",
    "multiplier", "infection",
)  # fmt: skip
DRIVE_AT = {name: c.SPECIES + i for i, name in enumerate(DRIVE_COLUMNS)}


def feed_contents(drive: Drive, plant: PlantParameters) -> Floats:
    """Contents of mixed juice over time.

    Parameters
    ----------
    drive : dict of str to array, shape (T,)
        Driving series.
    plant : PlantParameters
        The station.

    Returns
    -------
    array, shape (T, 7)
        Sucrose, reducing sugars, other solids, lactic acid [kg/m3], alkali and acid still to
        come [meq/L], temperature [degC].
    """
    solids = 0.01 * drive["brix"] * juice_density_kg_m3(drive["brix"])
    sucrose = solids * 0.01 * drive["purity"]
    rs = sucrose * 0.01 * drive["rs"]
    strength = solids / _nominal_solids()
    alkali = (drive["ph_mixed"] - 7.0) * plant.buffer_meq_l_ph * strength
    pending = plant.phosphate_acid_meq_l * drive["phosphate"] * strength
    other = solids - sucrose - rs
    parts = [sucrose, rs, other, alkali, pending, drive["lactic"], drive["temp_mixed"]]
    return np.stack(parts, axis=-1)


def _nominal_solids() -> float:
    return float(0.01 * p.BRIX_PCT * juice_density_kg_m3(np.array(p.BRIX_PCT)))


def drive_matrix(drive: Drive, plant: PlantParameters) -> Floats:
    """Feed contents and driving series as one array, shape (T, 7 + 20)."""
    series = np.stack([drive[name] for name in DRIVE_COLUMNS], axis=-1)
    return np.concatenate([feed_contents(drive, plant), series], axis=-1)
