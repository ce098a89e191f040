"""What people and instruments of an invented mill are used to: faults, laboratory, recorder.

The demonstration mill has none of these habits: every fault is a step, every analysis is made, and
every tag is there. Sizes are *judgement* where nothing else is said: no survey of mills is known
to us that gives them.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

#: Shapes of planted events beside plain steps.
SHAPES = ("drift", "ramp", "comes_and_goes", "pair", "over_stop")
#: Ways in which a stop is handled so that next to nothing is lost.
STOPS = ("emptied", "emptied_late", "cooled", "limed", "flushed")
#: Sampling points in flow order, and what each may be off by.
POINTS = ("MJ", "LJ", "CJ", "EJ", "EV")
#: Points at which pH, and at which sugars (Brix, pol, reducing sugars) are analysed, by plan.
LAB_PLANS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "all": (("MJ", "LJ", "CJ", "EJ"), ("MJ", "LJ", "CJ", "EJ")),
    "mixed_clear": (("MJ", "LJ", "CJ"), ("MJ", "CJ")),
    "clear_syrup": (("LJ", "CJ"), ("CJ", "EV")),
    "mixed_limed_ph": (("MJ", "LJ"), ("MJ",)),
}
RECORDERS = ("deadband", "swinging", "averages", "snapshots")
#: Tags that mills lack, and how many mills in a hundred do (judgement).
OFTEN_LACKING: dict[str, int] = {
    "ST.LI305": 45,  # mud level
    "EV.TI501": 35,  # first evaporator's thermometer
    "CT.FI403": 35,  # flow of clear juice
    "ST.TI307": 40,  # mud temperature
    "ST.FI306": 30,  # underflow
    "MJ.AI104": 40,  # pH of mixed juice
    "MJ.AI103": 35,  # Brix of mixed juice
    "ST.AI310": 50,  # conductivity of clear juice
    "ST.AI309": 40,  # turbidity of clear juice
    "EV.AI503": 40,  # Brix of the first evaporator
    "EV.LI502": 35,  # its level
    "FT.TI231": 35,  # flash tank
    "ST.FI302": 30,  # flocculant
    "SH.PI222": 30,  # steam of the secondary heater
    "ML.WI001": 20,  # cane
    "ML.FI002": 30,  # imbibition
    "ST.LI303": 30,  # settler level
    "CT.TI402": 30,  # clear-juice tank's thermometer
    "LT.LI213": 25,  # liming tank's level
    "PH.TI201": 20,  # primary heater
    "LT.TI214": 15,  # liming tank's thermometer
}


@dataclass(frozen=True, slots=True)
class Habits:
    """Habits of one mill; the defaults are none.

    Attributes
    ----------
    shapes : tuple of str
        Event shapes beside steps (`SHAPES`).
    stops : tuple of str
        Ways in which its stops are handled (`STOPS`).
    odd_spells : bool
        Microbial spells at other temperatures than the usual 54-57 degC (48-62), longer or shorter.
    rs_bias, brix_bias, pol_bias : tuple of float
        What a method is off by at each of `POINTS`, all season long: a share of the result for
        reducing sugars, points of % for the others.
    reagent_rel_sd : float
        Reducing sugars of all points move together by this much (standard deviation, relative)
        with every new batch of reagent.
    reagent_days : float
        Mean life of a batch [d].
    lab_plan : str
        What is analysed where (`LAB_PLANS`).
    lactic : bool
        Whether lactic acid is analysed, where mixed juice is sampled at all.
    composite_h : float
        Hours over which samples for Brix, pol and reducing sugars are gathered; 0 for grabs.
    lacks : tuple of str
        Tags that this mill does not have.
    recorder : str
        How its recorder thins readings out (`RECORDERS`).
    fewer_digits : int
        Digits that the export leaves out.
    quality_told : bool
        False where the export calls every reading good.
    """

    shapes: tuple[str, ...] = ()
    stops: tuple[str, ...] = ("emptied",)
    odd_spells: bool = False
    rs_bias: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0)
    brix_bias: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0)
    pol_bias: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0)
    reagent_rel_sd: float = 0.0
    reagent_days: float = 21.0
    lab_plan: str = "all"
    lactic: bool = True
    composite_h: float = 0.0
    lacks: tuple[str, ...] = ()
    recorder: str = "deadband"
    fewer_digits: int = 0
    quality_told: bool = True

    def __post_init__(self) -> None:
        """Refuse words that nothing here knows."""
        known = {
            "shapes": (self.shapes, SHAPES),
            "stops": (self.stops, STOPS),
            "lab_plan": ((self.lab_plan,), tuple(LAB_PLANS)),
            "recorder": ((self.recorder,), RECORDERS),
        }
        for name, (given, allowed) in known.items():
            wrong = [word for word in given if word not in allowed]
            if wrong:
                raise ValueError(f"{name} cannot be {wrong[0]!r}; use one of {', '.join(allowed)}")

    @property
    def tells_lactic(self) -> bool:
        """Whether lactic acid is analysed before the station as well as in it."""
        return self.lactic and "MJ" in LAB_PLANS[self.lab_plan][0]

    def as_dict(self) -> dict[str, Any]:
        """Every habit by name, for the written truth."""
        return asdict(self)

    def present(self) -> tuple[str, ...]:
        """Words for the habits of laboratory and recorder that this mill has."""
        words = [f"laboratory: {self.lab_plan}"] if self.lab_plan != "all" else []
        words += ["no lactic acid"] if not self.tells_lactic else []
        words += ["method bias"] if any(self.rs_bias) else []
        words += ["reagents"] if self.reagent_rel_sd else []
        words += [f"composites of {self.composite_h:g} h"] if self.composite_h else []
        words += [f"recorder: {self.recorder}"] if self.recorder != "deadband" else []
        words += ["fewer digits"] if self.fewer_digits else []
        words += ["no words of quality"] if not self.quality_told else []
        words += [f"no {tag}" for tag in self.lacks]
        return tuple(words)


def draw_habits(seed: int) -> Habits:
    """Draw the habits of a mill, each present with some probability.

    Parameters
    ----------
    seed : int
        Non-negative seed.

    Returns
    -------
    Habits
        Every shape with 0.6; method bias with 0.7: reducing sugars sd 3 %, Brix 0.05, pol 0.07;
        reagents with 0.5, 1-4 %; lactic acid with 0.5; composites with 0.3; other recorders than
        plain deadbands with 0.6 (judgement throughout).
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 41]))

    def happens(probability: float) -> bool:
        return bool(rng.random() < probability)

    shapes = tuple(s for s in SHAPES if happens(0.6)) or (SHAPES[int(rng.integers(len(SHAPES)))],)
    stops = tuple(s for s in STOPS if happens(0.5)) or ("emptied",)
    odd, biased, reagents = happens(0.6), happens(0.7), happens(0.5)
    bias = [
        tuple(np.round(sd * biased * rng.normal(size=len(POINTS)), 4).tolist())
        for sd in (0.03, 0.05, 0.07)
    ]
    reagent_rel_sd = float(np.round(rng.uniform(0.01, 0.04), 4))
    reagent_days = float(np.round(rng.uniform(14.0, 28.0), 1))
    lab_plan = str(rng.choice(list(LAB_PLANS), p=[0.4, 0.3, 0.2, 0.1]))
    lactic = happens(0.5)
    composite_h = float(rng.choice([0.0, 8.0, 24.0], p=[0.7, 0.1, 0.2]))
    lacks = tuple(tag for tag, share in OFTEN_LACKING.items() if happens(0.01 * share))
    return Habits(
        shapes=shapes,
        stops=stops,
        odd_spells=odd,
        rs_bias=bias[0],
        brix_bias=bias[1],
        pol_bias=bias[2],
        reagent_rel_sd=reagent_rel_sd if reagents else 0.0,
        reagent_days=reagent_days,
        lab_plan=lab_plan,
        lactic=lactic,
        composite_h=composite_h,
        lacks=lacks,
        recorder=str(rng.choice(RECORDERS, p=[0.4, 0.3, 0.2, 0.1])),
        fewer_digits=int(rng.choice([0, 1, 2], p=[0.65, 0.25, 0.1])),
        quality_told=happens(0.7),
    )
