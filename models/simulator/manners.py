"""A plant's bad manners: what real mills do and a tidy simulation does not.

How to use them::

    plant = with_manners(draw_any_plant(seed), draw_manners(seed))   # both from parameters
    base = everyday(rng, steps, unrest=plant.unrest, manners=plant.manners)

From there on the plant carries them: `integrate`, `tag_courses` and `planted_extras` read
``plant.manners``. Every manner draws from a random stream of its own, made of `Manners.seed` and
its name: switching one on or off leaves all the others, and everything else, as they were.

**Filtrate is a recycle inside the station.** Its sucrose left the settler with the mud and was fed
once, with the fresh mixed juice; it is not counted as fed again. Sucrose destroyed in the filtrate
tank is destroyed inside the station, and what stays in the filter cake has left it. So a planted
loss is what an event truly destroyed, wherever that was, over the same fresh feed.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, fields

import numpy as np

#: Where filtrate may go.
RETURNS = ("mixed", "limed")


@dataclass(frozen=True, slots=True)
class Manners:
    """Bad manners of one plant; 0 (or False) switches each off.

    Sizes "in everyday sd" are shares of what each drive's ordinary unrest moves
    (`models.simulator.misbehave.EVERYDAY_SD`).

    Attributes
    ----------
    seed : int
        Of all that the manners draw.
    memory_d, memory_sd : float
        Long memory, ARFIMA(0, d, 0): order, 0.2-0.4, and size in everyday sd (judgement; long-run
        variance of plants' tags grows 5 to 40 times from 4 h to 48 h blocks).
    variance_log_sd : float
        Log sd of the everyday unrest's own size, memory 24 h, 0.3-0.8 (judgement).
    tails_df : float
        Degrees of freedom of Student's t for the everyday unrest, about 3 (judgement); above 2.
    hand_every_h, hand_size : float
        Set-points and levels moved by hand: mean time between two moves of the same thing [h],
        about 12 (judgement); size, 1 for the steps of `misbehave.HAND_STEP` (judgement).
    shift_h, shift_size : float
        The same moved at every change of shift: 8 or 12 h (common practice); size as above.
    daily_size : float
        Warmth of the day and quiet of the night; 1 for `misbehave.DAY` (judgement).
    weather_size : float
        Spells of wet cane, 1-4 days long, every 9 days or so; 1 for `misbehave.WET` (judgement).
    filtrate_share : float
        Filtrate returned, share of the mixed-juice flow: 0.08-0.15 (common practice).
    filtrate_to : {"mixed", "limed"}
        Into mixed juice behind its meter, or into the liming tank (common practice: either).
    filtrate_metered : bool
        Whether its flow has a meter.
    filtrate_age_h : float
        Mean time in filters and tank [h], 1-4 (judgement).
    filtrate_temp_degc : float
        60-75 degC (common practice).
    filtrate_eaten_kg_m3_h : float
        Sucrose that microbes destroy in it [kg/m3/h], 0.15-0.6 (judgement: pH falls by
        half a unit to two in some hours, reducing sugars rise by a tenth to a half).
    filtrate_cake_share : float
        Share of the mud's dissolved matter that stays in the cake, 0.03-0.1 (judgement).
    ph_slope : float
        d(pH)/dT of this mill's juice [1/K], -0.0045 to -0.009; 0 keeps the plant's own. Taken over
        by `with_manners`.
    multiplier_walk : float
        Random walk of the log of the kinetic multiplier, sd over a week: about 0.1 (judgement).
    flow_scale_sd, flow_zero_pct : float
        Flow meters: sd of the scale error [1], 0.01-0.03, and of the zero error [% of the usual
        flow], 0.5-2 (common practice: meters long in service).
    level_scale_sd, level_zero_pct : float
        Level meters: sd of the scale error [1] and of the zero error [% of the span], 1-4
        (judgement).
    temp_zero_k : float
        Thermometers: sd of the zero error [K], 0.3-1 (common practice).
    cold_meters : bool
        Meters of hot juice show its volume as at 30 degC.
    mud_takes_room : bool
        Mud that grows takes its room from the clear juice above it.
    """

    seed: int = 0
    memory_d: float = 0.0
    memory_sd: float = 0.7
    variance_log_sd: float = 0.0
    tails_df: float = 0.0
    hand_every_h: float = 0.0
    hand_size: float = 1.0
    shift_h: float = 0.0
    shift_size: float = 0.7
    daily_size: float = 0.0
    weather_size: float = 0.0
    filtrate_share: float = 0.0
    filtrate_to: str = "mixed"
    filtrate_metered: bool = False
    filtrate_age_h: float = 2.0
    filtrate_temp_degc: float = 68.0
    filtrate_eaten_kg_m3_h: float = 0.4
    filtrate_cake_share: float = 0.05
    ph_slope: float = 0.0
    multiplier_walk: float = 0.0
    flow_scale_sd: float = 0.0
    flow_zero_pct: float = 0.0
    level_scale_sd: float = 0.0
    level_zero_pct: float = 0.0
    temp_zero_k: float = 0.0
    cold_meters: bool = False
    mud_takes_room: bool = False

    def __post_init__(self) -> None:
        """Refuse what has no meaning."""
        if not 0.0 <= self.memory_d < 0.5:
            raise ValueError(f"memory_d is {self.memory_d}; give 0 (off) to under 0.5")
        if self.tails_df and self.tails_df <= 2.0:
            raise ValueError(f"tails_df is {self.tails_df}; give 0 (off) or above 2")
        if self.filtrate_to not in RETURNS:
            raise ValueError(f"filtrate_to is {self.filtrate_to!r}; give one of {RETURNS}")
        if self.ph_slope > 0.0:
            raise ValueError(f"ph_slope is {self.ph_slope}; juice's pH falls as it warms")
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, float) and field.name != "ph_slope" and value < 0.0:
                raise ValueError(f"{field.name} is {value}; give 0 (off) or more")

    def stream(self, name: str) -> np.random.Generator:
        """Random stream of one manner, which no other shares."""
        return np.random.default_rng([self.seed, zlib.crc32(name.encode())])

    def as_words(self) -> dict[str, str]:
        """Manners that are switched on, each with its size, for tables and cards."""
        said: dict[str, str] = {}
        if self.memory_d:
            said["long memory"] = f"d {self.memory_d:.2f}, {self.memory_sd:.1f} everyday sd"
        if self.variance_log_sd:
            said["drifting variance"] = f"log sd {self.variance_log_sd:.2f}, memory 24 h"
        if self.tails_df:
            said["heavy tails"] = f"Student t, {self.tails_df:.1f} degrees of freedom"
        if self.hand_every_h:
            said["moved by hand"] = f"every {self.hand_every_h:.0f} h, size {self.hand_size:.1f}"
        if self.shift_h:
            said["moved at shifts"] = f"every {self.shift_h:.0f} h, size {self.shift_size:.1f}"
        if self.daily_size:
            said["daily cycle"] = f"size {self.daily_size:.1f}"
        if self.weather_size:
            said["wet cane"] = f"size {self.weather_size:.1f}"
        return said | self._station_words() | self._meter_words()

    def _station_words(self) -> dict[str, str]:
        said: dict[str, str] = {}
        if self.filtrate_share:
            said["filtrate"] = (
                f"{100 * self.filtrate_share:.0f} % to {self.filtrate_to} juice, "
                f"{self.filtrate_age_h:.1f} h old, {self.filtrate_temp_degc:.0f} degC, "
                f"{self.filtrate_eaten_kg_m3_h:.2f} kg/m3/h eaten, "
                + ("metered" if self.filtrate_metered else "no meter")
            )
        if self.ph_slope:
            said["pH slope"] = f"{self.ph_slope:.4f} per K"
        if self.multiplier_walk:
            said["multiplier wanders"] = f"{self.multiplier_walk:.2f} per root week"
        if self.mud_takes_room:
            said["mud"] = "takes room from the clear juice"
        return said

    def _meter_words(self) -> dict[str, str]:
        said: dict[str, str] = {}
        if self.flow_scale_sd or self.flow_zero_pct:
            said["flow meters"] = (
                f"scale {100 * self.flow_scale_sd:.1f} %, zero {self.flow_zero_pct:.1f} %"
            )
        if self.level_scale_sd or self.level_zero_pct:
            said["level meters"] = (
                f"scale {100 * self.level_scale_sd:.1f} %, zero {self.level_zero_pct:.1f} %"
            )
        if self.temp_zero_k:
            said["thermometers"] = f"zero {self.temp_zero_k:.1f} K"
        if self.cold_meters:
            said["cold volumes"] = "meters show m3 at 30 degC"
        return said


def draw_manners(seed: int) -> Manners:
    """Draw a mill's manners from wide ranges; most mills have most of them.

    Parameters
    ----------
    seed : int
        Non-negative seed.

    Returns
    -------
    Manners
        Each present with chance 0.6 (filtrate 0.7, pH slope always, the rest of the ranges as in
        `Manners`).
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 17]))

    def maybe(low: float, high: float, chance: float = 0.6) -> float:
        # Both numbers are drawn whatever comes out, so that one manner moves no other.
        here, size = rng.random() < chance, float(rng.uniform(low, high))
        return size if here else 0.0

    def either(chance: float) -> bool:
        return bool(rng.random() < chance)

    shifts, short = either(0.6), either(0.6)
    return Manners(
        seed=seed,
        memory_d=maybe(0.2, 0.4),
        memory_sd=float(rng.uniform(0.4, 1.0)),
        variance_log_sd=maybe(0.3, 0.8),
        tails_df=maybe(2.6, 5.0),
        hand_every_h=maybe(8.0, 20.0),
        hand_size=float(rng.uniform(0.4, 1.2)),
        shift_h=(8.0 if short else 12.0) if shifts else 0.0,
        shift_size=float(rng.uniform(0.3, 1.0)),
        daily_size=maybe(0.4, 1.5),
        weather_size=maybe(0.4, 1.2),
        filtrate_share=maybe(0.08, 0.15, 0.7),
        filtrate_to="mixed" if either(0.6) else "limed",
        filtrate_metered=either(0.4),
        filtrate_age_h=float(rng.uniform(1.0, 4.0)),
        filtrate_temp_degc=float(rng.uniform(60.0, 75.0)),
        filtrate_eaten_kg_m3_h=float(np.exp(rng.uniform(np.log(0.15), np.log(0.6)))),
        filtrate_cake_share=float(rng.uniform(0.03, 0.10)),
        ph_slope=-float(rng.uniform(0.0045, 0.009)),
        multiplier_walk=maybe(0.05, 0.15),
        flow_scale_sd=maybe(0.01, 0.03),
        flow_zero_pct=maybe(0.3, 1.5),
        level_scale_sd=maybe(0.01, 0.03),
        level_zero_pct=maybe(1.0, 3.0),
        temp_zero_k=maybe(0.3, 1.0),
        cold_meters=either(0.4),
        mud_takes_room=either(0.7),
    )
