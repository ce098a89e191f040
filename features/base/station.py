"""The station as the physics sees it: vessels in flow order, signals, targets.

Plain frozen dataclasses. They hold what a mill's description says and nothing that was
measured; ``pipeline.mill.description`` builds them from a TOML file, tests build them by hand.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

VesselKind = Literal[
    "liming_tank", "heater", "flash_tank", "settler", "clear_juice_tank", "clear_juice_heater",
    "evaporator_vessel",
]  # fmt: skip
Quantity = Literal[
    "flow", "temperature", "ph", "level", "mud_level", "brix", "turbidity", "conductivity",
    "steam_pressure", "cane_rate", "imbibition_flow", "lime_flow", "flocculant_flow", "other",
]  # fmt: skip
Port = Literal["in", "inside", "out", "mud", ""]
Interpolation = Literal["linear", "step"]
Analyte = Literal[
    "ph", "brix", "pol", "purity", "rs", "lactic", "turbidity", "potassium", "chloride",
    "dextran", "colour", "phosphate",
]  # fmt: skip
#: What a share of reducing sugars is a share of.
Basis = Literal["juice", "solids", "pol"]

#: Column prefix and unit suffix of each quantity, in the unit kept inside the tool.
QUANTITY_COLUMNS: dict[str, tuple[str, str]] = {
    "flow": ("flow", "m3_h"),
    "temperature": ("temp", "degc"),
    "ph": ("ph", ""),
    "level": ("level", "pct"),
    "mud_level": ("mud_level", "pct"),
    "brix": ("brix", "pct"),
    "turbidity": ("turbidity", "ntu"),
    "conductivity": ("conductivity", "ms_cm"),
    "steam_pressure": ("steam_pressure", "kpa"),
    "cane_rate": ("cane_rate", "t_h"),
    "imbibition_flow": ("imbibition_flow", "m3_h"),
    "lime_flow": ("lime_flow", "l_h"),
    "flocculant_flow": ("flocculant_flow", "l_h"),
    "other": ("other", ""),
}


@dataclass(frozen=True, slots=True)
class Signal:
    """One historian tag and what it measures.

    Attributes
    ----------
    tag : str
        Name in the export (untrusted text).
    quantity, place, port : str
        What is measured, where (a vessel name, or ``mixed_juice``, ``mill``, ``filtrate``,
        ``syrup``), and at which side.
    unit : str
        Unit of the export; values are converted to the inside unit when pulled.
    low, high : float
        Readings outside ``[low, high]`` (inside unit) are bad.
    interpolation : {"linear", "step"}
        How the value runs between two readings.
    every_s : float
        Usual sampling interval [s].
    longest_gap_min : float
        Longest bridge between two readings [min].
    basis : {"cold", "process"}
        For pH only: reading of a cooled sample, or at process temperature.
    beside : str
        Tag that measures the same and counts; this one is the second instrument there, kept and
        watched but not followed. Empty for a tag that counts.
    """

    tag: str
    quantity: Quantity
    place: str
    port: Port
    unit: str
    low: float
    high: float
    interpolation: Interpolation = "linear"
    every_s: float = 30.0
    longest_gap_min: float = 10.0
    basis: Literal["cold", "process"] = "cold"
    beside: str = ""

    @property
    def name(self) -> str:
        """Column name inside the tool: what, where, unit."""
        prefix, suffix = QUANTITY_COLUMNS[self.quantity]
        second = "second" if self.beside else ""
        return "_".join(part for part in (prefix, self.place, self.port, second, suffix) if part)


@dataclass(frozen=True, slots=True)
class LabSource:
    """One lab result series: analyte, sampling point, unit and its standard error.

    ``sd`` is absolute in the unit given, ``rel_sd`` relative; the larger one holds. ``basis`` says
    what reducing sugars are a share of. A result with a ``period_h`` is of a composite sample
    gathered over that many hours from its time on; 0 is a grab.
    """

    tag: str
    analyte: Analyte
    place: str
    port: Port
    unit: str
    low: float
    high: float
    sd: float = 0.0
    rel_sd: float = 0.0
    basis: Basis = "juice"
    period_h: float = 0.0


@dataclass(frozen=True, slots=True)
class Vessel:
    """One vessel of the train.

    Attributes
    ----------
    name : str
        Unique name, also the ``place`` of its signals.
    kind : VesselKind
        What it is.
    step : int
        Position in flow order; vessels of the same step run in parallel and share the flow
        by volume unless their own flows are measured.
    volume_m3 : float
        Juice volume at 100 % level [m3] (clear zone for a settler).
    volume_rel_sd : float
        Relative standard error of the volume.
    tanks : int
        Tanks in series that describe its mixing; 0 stands for plug flow.
    dead_fraction : float
        Share of the volume that juice does not reach.
    level_pct : float
        Level at target, and the level taken where none is measured [%].
    temp_degc : float
        Target juice temperature [degC]; also taken where none is measured.
    area_m2 : float or None
        Settling area [m2].
    mud_volume_m3, mud_level_pct, mud_flow_m3_h, mud_ph_drop : float
        Settler only: mud zone at 100 % mud level, its target level, target underflow and how far
        mud pH lies below clear-juice pH at the mud's target residence; it grows with residence
        (common practice: pH falls more at the bottom than at the top).
    ph_shift : float
        pH inside less the pH of the juice flowing in, such as the fall in an evaporator vessel
        as volatile bases leave with the vapour.
    ph_fall_min : float
        Settler only: time constant of the pH fall from limed to clear juice [min]. Most of the
        fall comes early, so most of the settler stands near the clear juice's pH (estimate).
    mud_temp_degc : float or None
        Settler only: target mud temperature [degC]; the settler's own where None.
    brix_pct : float or None
        Brix inside when it differs from the feed's (evaporator vessel).
    """

    name: str
    kind: VesselKind
    step: int
    volume_m3: float
    temp_degc: float
    volume_rel_sd: float = 0.1
    tanks: int = 1
    dead_fraction: float = 0.0
    level_pct: float = 100.0
    area_m2: float | None = None
    mud_volume_m3: float = 0.0
    mud_level_pct: float = 50.0
    mud_flow_m3_h: float = 0.0
    mud_ph_drop: float = 0.2
    ph_fall_min: float = 20.0
    ph_shift: float = 0.0
    brix_pct: float | None = None
    mud_temp_degc: float | None = None


@dataclass(frozen=True, slots=True)
class Targets:
    """What the station aims at: the loss at these values is called unavoidable.

    ``ph_mixed`` and ``temp_mixed_degc`` are the usual pH and temperature of mixed juice, taken
    where nothing measures them; the target feed flow is a volume at that temperature.
    """

    flow_feed_m3_h: float
    ph_limed: float
    ph_clear: float
    brix_pct: float = 14.5
    purity_pct: float = 84.0
    ph_mixed: float = 5.2
    temp_mixed_degc: float = 30.0


@dataclass(frozen=True, slots=True)
class Kinetics:
    """Site kinetics with standard errors.

    ``multiplier`` scales the published inversion rate; it is a prior that lab balances update.
    ``ph_slope`` is d(pH)/dT of the juice [1/K]; ``ph_ref_degc`` the temperature of cooled samples.
    ``sucrose_per_lactic_kg_kg``: sucrose eaten per lactic acid made; between the stoichiometric
    floor of 0.95 (computed) and trade factors of 2 to 8 (memory, weak).
    ``rs_per_sucrose_pct`` is the usual reducing sugars per 100 sucrose [%].
    ``acid_per_hexose`` is the acid made per reducing sugar destroyed [mol/mol], 1 to 2 (estimate);
    ``buffer_meq_kg_ph`` the acid that lowers the juice's pH by one [meq/kg/pH], 8 from lime
    use (Eggleston 2003; computed). Acid of 0 switches the fall of pH after the last probe off.
    """

    multiplier: float = 1.5
    multiplier_log_sd: float = 0.6
    ph_slope: float = -0.006
    ph_slope_sd: float = 0.003
    ph_ref_degc: float = 25.0
    rs_rate_ph7_1_h: float = 0.01
    sucrose_per_lactic_kg_kg: float = 2.5
    rs_per_sucrose_pct: float = 4.0
    acid_per_hexose: float = 1.4
    buffer_meq_kg_ph: float = 8.0


@dataclass(frozen=True, slots=True)
class Filtrate:
    """Juice of the mud filters that is returned to the train.

    ``share_pct`` is how much of the mixed juice it is by volume [%], 0 for none returned and None
    for not told; a flow tag at ``filtrate`` wins. ``to`` says into which juice it goes;
    ``feed_meter`` whether the meter of the feed stands before or behind its return, or where its
    place says. ``brix_pct`` is its own.
    """

    share_pct: float | None = None
    to: Literal["mixed", "limed"] = "mixed"
    feed_meter: Literal["by_place", "before", "behind"] = "by_place"
    brix_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Settling:
    """What no tag tells of flocculant and settling.

    ``flocculant_g_l`` is the strength of the flocculant solution [g/L]; ``pumped_after`` says that
    the dosed juice is pumped before the settler; ``rate_m_h`` is the initial settling rate of a
    batch test at target Brix and temperature [m/h]; ``air_kpa`` the pressure of the air [kPa].
    """

    flocculant_g_l: float | None = None
    pumped_after: bool = False
    rate_m_h: float | None = None
    air_kpa: float = 101.325


@dataclass(frozen=True, slots=True)
class Station:
    """A mill's clarification station: vessels, signals, lab series, targets and kinetics."""

    vessels: tuple[Vessel, ...]
    signals: tuple[Signal, ...]
    lab: tuple[LabSource, ...]
    targets: Targets
    kinetics: Kinetics = field(default_factory=Kinetics)
    filtrate: Filtrate = field(default_factory=Filtrate)
    settling: Settling = field(default_factory=Settling)

    def signal(self, quantity: Quantity, place: str, port: Port | None = None) -> Signal | None:
        """First signal that measures `quantity` at `place` (any port when `port` is None)."""
        for item in self.signals:
            here = item.quantity == quantity and item.place == place and not item.beside
            if here and port in (None, item.port):
                return item
        return None

    def of_kind(self, kind: VesselKind) -> tuple[Vessel, ...]:
        """All vessels of one kind, in flow order."""
        return tuple(v for v in sorted(self.vessels, key=lambda v: v.step) if v.kind == kind)

    @property
    def in_flow_order(self) -> tuple[tuple[Vessel, ...], ...]:
        """Vessels grouped by step: each inner tuple runs in parallel."""
        steps = sorted({v.step for v in self.vessels})
        return tuple(tuple(v for v in self.vessels if v.step == s) for s in steps)
