"""What the invented station truly is: hidden from the estimators, known to the simulator."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.simulator.manners import Manners

#: Integration step [s] and [h].
STEP_S = 30
STEP_H = STEP_S / 3600.0

#: Nominal operation of the invented mill (estimate: plausible, measured nowhere).
CANE_T_H = 250.0
FEED_M3_H = 265.0
BRIX_PCT = 14.5
PURITY_PCT = 84.0
RS_PER_POL_PCT = 4.0
PH_MIXED = 5.2
PH_LIMED_TARGET = 7.5
LIME_L_H = 2600.0
SETTLER_FEED_M3_H = 268.0
MUD_FLOW_M3_H = 25.0
MUD_LEVEL_PCT = 45.0
LIMING_LEVEL_PCT = 70.0
TANK_LEVEL_PCT = 35.0
EVAPORATOR_LEVEL_PCT = 60.0


#: Volume of hot juice over its volume as mixed juice at 35 degC, from the density of water at each
#: vessel's usual temperature (IAPWS: 994.0, 976.6, 960.6, 961.3, 962.0, 948.7 kg/m3; computed).
EXPANSION = {
    "liming": 994.0 / 976.6,
    "settler": 994.0 / 960.6,
    "mud": 994.0 / 961.3,
    "tank": 994.0 / 962.0,
    "evaporator": 994.0 / 948.7,
}


@dataclass(frozen=True, slots=True)
class PlantParameters:
    """Hidden truth of one simulated station; the defaults are the demonstration mill's.

    Attributes
    ----------
    kinetics_multiplier : float
        Factor on the published inversion rate.
    ph_slope : float
        d(pH)/dT of juice [1/K]; pH is cold (25 degC) unless called hot.
    rs_rate_ph7_1_h : float
        Reducing-sugar destruction at pH 7 and 97 degC [1/h] (common practice: 0.01).
    acid_per_rs : float
        Acid from destroyed reducing sugars [eq/mol hexose] (estimate, 1-2).
    buffer_meq_l_ph : float
        Buffer capacity of nominal juice [meq/L per pH] (estimate).
    phosphate_acid_meq_l : float
        Acid that phosphate precipitation releases after liming [meq/L] (estimate).
    phosphate_min : float
        Time constant of that release at 97 degC [min].
    lime_eq_l : float
        Alkali in the milk of lime [eq/L].
    settler_m3, dead_fraction : float
        Clear zone volume [m3] and the share of it that hardly moves.
    mud_m3 : float
        Mud zone at 100 % mud level [m3].
    liming_m3, clear_tank_m3, evaporator_m3 : float
        Vessel volumes at 100 % level [m3].
    mud_acid_meq_l_h : float
        Acid made in fresh mud [meq/L/h]; fades towards pH 6.1.
    settler_loss_k_h : float
        Cooling of standing juice in the settler at 97 degC [K/h].
    evaporator_ph_drop : float
        pH lost with the vapour in the first evaporator.
    sucrose_per_lactic : float
        Sucrose eaten per lactic acid made by thermophiles [kg/kg].
    microbial_kg_m3_h : float
        Sucrose eaten by full growth in the liming tank [kg/m3/h].
    unrest : float
        Scale of every ordinary disturbance.
    lab_error, lab_gap : float
        Scale of the laboratory's errors, and of the time between its samples.
    deadband : float
        Scale of the historian's deadbands.
    sampling : int
        Scale of the time between two samples of a tag.
    heartbeat_s : float
        Longest time without a written value while an instrument works [s].
    steady : bool
        True leaves out every ordinary disturbance; for balance tests.
    manners : Manners, optional
        Bad manners of the plant; put in by `with_manners`, which also takes over their pH slope.
    """

    kinetics_multiplier: float = 1.9
    ph_slope: float = -0.0052
    rs_rate_ph7_1_h: float = 0.010
    acid_per_rs: float = 1.4
    buffer_meq_l_ph: float = 8.0
    phosphate_acid_meq_l: float = 4.5
    phosphate_min: float = 18.0
    lime_eq_l: float = 1.88
    settler_m3: float = 332.0
    dead_fraction: float = 0.11
    mud_m3: float = 134.0
    liming_m3: float = 90.0
    clear_tank_m3: float = 197.0
    evaporator_m3: float = 28.0
    mud_acid_meq_l_h: float = 0.64
    settler_loss_k_h: float = 0.75
    evaporator_ph_drop: float = 0.10
    sucrose_per_lactic: float = 2.6
    microbial_kg_m3_h: float = 4.8
    unrest: float = 1.0
    lab_error: float = 1.0
    lab_gap: float = 1.0
    deadband: float = 1.0
    sampling: int = 1
    heartbeat_s: float = 300.0
    steady: bool = False
    manners: Manners | None = None


def draw_plant(seed: int) -> PlantParameters:
    """Draw a station of its own for `seed`.

    Parameters
    ----------
    seed : int
        Non-negative seed.

    Returns
    -------
    PlantParameters
        Kinetics multiplier 1.4-2.6, pH slope -0.0065..-0.0040 1/K, the rest within some 10 %.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 11]))

    def near(value: float, rel: float = 0.05) -> float:
        return float(value * np.exp(rng.normal(0.0, rel)))

    base = PlantParameters()
    return PlantParameters(
        kinetics_multiplier=float(np.exp(rng.uniform(np.log(1.4), np.log(2.6)))),
        ph_slope=float(rng.uniform(-0.0060, -0.0044)),
        rs_rate_ph7_1_h=near(base.rs_rate_ph7_1_h, 0.12),
        acid_per_rs=float(rng.uniform(1.1, 1.8)),
        buffer_meq_l_ph=near(base.buffer_meq_l_ph),
        phosphate_acid_meq_l=near(base.phosphate_acid_meq_l),
        phosphate_min=near(base.phosphate_min, 0.1),
        lime_eq_l=near(base.lime_eq_l),
        settler_m3=near(base.settler_m3, 0.04),
        dead_fraction=float(rng.uniform(0.05, 0.18)),
        mud_m3=near(base.mud_m3),
        clear_tank_m3=near(base.clear_tank_m3, 0.03),
        mud_acid_meq_l_h=near(base.mud_acid_meq_l_h, 0.1),
        settler_loss_k_h=float(rng.uniform(0.5, 1.0)),
        sucrose_per_lactic=float(rng.uniform(2.0, 3.2)),
        microbial_kg_m3_h=near(base.microbial_kg_m3_h, 0.15),
    )


def draw_any_plant(seed: int) -> PlantParameters:
    """Draw a station from as wide a range as mills differ.

    Parameters
    ----------
    seed : int
        Non-negative seed.

    Returns
    -------
    PlantParameters
        Kinetics multiplier 0.6-3, pH slope -0.0085..-0.0035 1/K, buffer 5.5-11 meq/L per pH,
        vessels from 0.75 to 1.3 of the demonstration mill's, laboratory errors 0.7-1.6 and gaps
        1-1.5 of its, tags sampled 1-3 times as seldom, deadbands 0.5-2 of its, a value written
        at least every 2-9 min, everyday unrest 1-1.6, destruction of reducing sugars 0.007-0.0145
        1/h at pH 7, sucrose eaten per lactic acid 1.5-4.5.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 13]))

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    near = draw_plant(seed)
    return replace(
        near,
        kinetics_multiplier=between(0.6, 3.0),
        ph_slope=-between(0.0035, 0.0085),
        buffer_meq_l_ph=between(5.5, 11.0),
        settler_m3=near.settler_m3 * between(0.75, 1.3),
        mud_m3=near.mud_m3 * between(0.75, 1.3),
        liming_m3=near.liming_m3 * between(0.75, 1.3),
        clear_tank_m3=near.clear_tank_m3 * between(0.75, 1.3),
        evaporator_m3=near.evaporator_m3 * between(0.75, 1.3),
        dead_fraction=float(rng.uniform(0.03, 0.22)),
        unrest=between(1.0, 1.6),
        lab_error=between(0.7, 1.6),
        lab_gap=between(1.0, 1.5),
        deadband=between(0.5, 2.0),
        # Drawn last, so that what was drawn before keeps its values.
        sampling=int(rng.choice([1, 2, 3])),
        heartbeat_s=between(120.0, 540.0),
        rs_rate_ph7_1_h=between(0.007, 0.0145),
        sucrose_per_lactic=between(1.5, 4.5),
    )


def with_manners(plant: PlantParameters, manners: Manners | None) -> PlantParameters:
    """Give the same station with bad manners; None takes them away.

    Parameters
    ----------
    plant : PlantParameters
        The station.
    manners : Manners or None
        A pH slope other than 0 takes the place of the plant's own.
    """
    slope = manners.ph_slope if manners and manners.ph_slope else plant.ph_slope
    return replace(plant, manners=manners, ph_slope=slope)


def as_mixed_juice(plant: PlantParameters) -> PlantParameters:
    """Give the same station with its vessels in m3 of mixed juice.

    The balances run on volumes at one temperature; a hot vessel holds less of it than its size.
    """
    return replace(
        plant,
        liming_m3=plant.liming_m3 / EXPANSION["liming"],
        settler_m3=plant.settler_m3 / EXPANSION["settler"],
        mud_m3=plant.mud_m3 / EXPANSION["mud"],
        clear_tank_m3=plant.clear_tank_m3 / EXPANSION["tank"],
        evaporator_m3=plant.evaporator_m3 / EXPANSION["evaporator"],
    )
