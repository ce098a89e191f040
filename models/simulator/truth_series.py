"""True course of every tag's quantity, before any instrument sees it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.chemistry import brix_of_solids
from models.simulator.disturb import Drive
from models.simulator.integrate import TRACE_COLUMNS, Run
from models.simulator.meters import FILTRATE_FLOW, as_metered
from models.simulator.parameters import PlantParameters
from models.simulator.reactions import React

Floats = NDArray[np.float64]

#: Volume over that at 35 degC, from the density of water (IAPWS: 994.0 kg/m3; 995.65 at 30 degC,
#: 978.9 at 68 degC; computed).
_COLD_EXPANSION = 994.0 / 995.65
_FILTRATE_EXPANSION = 994.0 / 978.9


def cold_ph(run: Run, plant: PlantParameters) -> Floats:
    """True pH of cooled samples from every cell of the first lane, shape (T, 14)."""
    contents = run.contents[:, :, 0, :]
    solids = contents[:, c.SUCROSE] + contents[:, c.RS] + contents[:, c.OTHER]
    per_solids = React(plant, 1).buffer_per_solids
    return np.asarray(7.0 + contents[:, c.ALKALI] / (per_solids * solids))


def flows(run: Run) -> dict[str, Floats]:
    """First lane's trace by column name, each of shape (T,)."""
    return {name: run.trace[:, 0, i] for i, name in enumerate(TRACE_COLUMNS)}


def _temperatures(run: Run) -> dict[str, Floats]:
    temp = run.contents[:, c.TEMP, 0, :]
    return {
        "PH.TI201": temp[:, c.PRIMARY],
        "LT.TI214": temp[:, c.LIMING],
        "SH.TI221": temp[:, c.SECONDARY],
        "FT.TI231": temp[:, c.FLASH],
        "ST.TI304": temp[:, 6],
        "ST.TI307": temp[:, c.MUD],
        "CT.TI402": temp[:, c.TANK],
        "CH.TI411": temp[:, c.HEATER],
        "EV.TI501": temp[:, c.EVAPORATOR],
    }


def _around(drive: Drive, flow: dict[str, Floats], ph: Floats) -> dict[str, Floats]:
    """Instruments whose quantity the balances do not carry (estimate throughout)."""
    count = len(drive["rate"])
    hours = np.arange(count) * p.STEP_H
    share = flow["flow_settler"] / p.SETTLER_FEED_M3_H
    # Tubes foul over three weeks and are cleaned: steam pressure climbs to hold the temperature.
    fouling = (hours % 504.0) / 504.0
    rise = 25.0 * (drive["temp_secondary"] - 103.0) / 7.0
    away = np.abs(ph[:, c.CLEAR_FIRST] - 7.25)
    cloudy = 25.0 * np.maximum(share, 0.2) ** 1.3 * drive["turbidity"] * drive["settling_fault"]
    lime_share = flow["lime"] / p.LIME_L_H / np.maximum(drive["rate"], 0.2)
    return {
        "ML.WI001": p.CANE_T_H * drive["rate"] / np.maximum(drive["imbibition"], 0.5) ** 0.28,
        "ML.FI002": 75.0 * np.sqrt(np.maximum(drive["rate"], 0.0)) * drive["imbibition"],
        "SH.PI222": 115.0 + 50.0 * share + 14.0 * fouling + rise,
        "ST.FI302": 900.0 * share * drive["flocculant"],
        "ST.AI309": cloudy * (1.0 + 0.6 * np.minimum(away, 1.0)),
        "ST.AI310": 4.2 + 0.5 * (lime_share - 1.0) + 0.12 * (drive["brix"] - p.BRIX_PCT),
    }


def tag_courses(run: Run, drive: Drive, plant: PlantParameters) -> dict[str, Floats]:
    """True value behind every exported tag.

    Parameters
    ----------
    run : Run
        First lane with contents.
    drive : dict of str to array, shape (T,)
        Driving series with all events.
    plant : PlantParameters
        The station.

    Returns
    -------
    dict of str to array, shape (T,)
        By tag; the limed pH already carries its probe's error, which the lime loop sees too.
        Flow meters read the volume at the temperature of their juice (at 30 degC where the plant
        has cold meters); flow, level and temperature carry the errors of the plant's meters. Where
        filtrate is metered, its flow is here too (`meters.FILTRATE_FLOW`).
    """
    flow = flows(run)
    ph = cold_ph(run, plant)
    manners = plant.manners
    seen = _as_at_30_degc(p.EXPANSION) if manners and manners.cold_meters else p.EXPANSION
    courses = {
        **_temperatures(run),
        **_around(drive, flow, ph),
        "MJ.FI101": flow["flow_feed"] * seen.get("mixed", 1.0),
        "MJ.TI102": drive["temp_mixed"],
        "MJ.AI103": drive["brix"],
        "MJ.AI104": drive["ph_mixed"],
        "LT.FI211": flow["lime"],
        "LT.AI212": ph[:, c.LIMING] + drive["probe_bias"],
        "LT.LI213": flow["level_liming"],
        "ST.FI301": flow["flow_settler"] * seen["settler"],
        "ST.LI303": flow["level_settler"],
        "ST.LI305": flow["level_mud"],
        "ST.FI306": flow["flow_mud"] * seen["mud"],
        "ST.AI308": ph[:, c.CLEAR_LAST],
        "CT.LI401": flow["level_tank"],
        "CT.FI403": flow["flow_tank"] * seen["tank"],
        "EV.LI502": drive["evaporator_level"],
        "EV.AI503": _brix(run.contents[:, :, 0, c.EVAPORATOR].T),
    }
    if manners and manners.filtrate_share and manners.filtrate_metered:
        courses[FILTRATE_FLOW] = flow["flow_filtrate"] * seen.get("filtrate", _FILTRATE_EXPANSION)
    return as_metered(courses, manners)


def planted_extras(run: Run, drive: Drive, plant: PlantParameters) -> dict[str, Floats]:
    """Hidden courses that bad manners add to the truth; empty without manners.

    Parameters
    ----------
    run : Run
        First lane with contents.
    drive : dict of str to array, shape (T,)
        Driving series with all events.
    plant : PlantParameters
        The station.

    Returns
    -------
    dict of str to array, shape (T,)
        ``multiplier_true``, where it wanders; ``filtrate_true_m3_h`` (at 35 degC),
        ``destroyed_filtrate_tank_kg_h``, ``ph_filtrate_true`` and ``rs_filtrate_true_pct_pol``
        where filtrate is returned.
    """
    manners = plant.manners
    extras: dict[str, Floats] = {}
    if manners and manners.multiplier_walk:
        extras["multiplier_true"] = plant.kinetics_multiplier * drive["multiplier"]
    if manners and manners.filtrate_share:
        held = run.filtrate.T
        solids = held[c.SUCROSE] + held[c.RS] + held[c.OTHER]
        per_solids = React(plant, 1).buffer_per_solids
        extras["filtrate_true_m3_h"] = flows(run)["flow_filtrate"]
        extras["destroyed_filtrate_tank_kg_h"] = run.destroyed_kg_h[:, 0, -1]
        extras["ph_filtrate_true"] = 7.0 + held[c.ALKALI] / (per_solids * solids)
        extras["rs_filtrate_true_pct_pol"] = 100.0 * held[c.RS] / held[c.SUCROSE]
    return extras


def _as_at_30_degc(expansion: dict[str, float]) -> dict[str, float]:
    """Factors that every flow meter has in common where all show volumes at 30 degC."""
    return dict.fromkeys((*expansion, "mixed", "filtrate"), _COLD_EXPANSION)


def _brix(contents: Floats) -> Floats:
    """Brix [%] from contents whose first axis is the species."""
    return brix_of_solids(contents[c.SUCROSE] + contents[c.RS] + contents[c.OTHER])
