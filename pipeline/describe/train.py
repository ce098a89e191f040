"""Vessels and targets of a drafted description.

Exports know no volumes: those here are the juice flow times a residence that is common practice,
unless a table of the mill gives them; each guessed one is marked CONFIRM, with what it matters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from features.base import Quantity
from features.kinetics import inversion_1_min, ph_at_process
from pipeline.describe.draft import DraftedVessel, Missing
from pipeline.describe.lab import LabGuess
from pipeline.describe.lists import Size
from pipeline.places import Guess, inside_value


@dataclass(frozen=True, slots=True)
class VesselKindly:
    """A vessel as it usually is: residence at full level [min], target level [%], temperature."""

    name: str
    kind: str
    residence_min: float
    level_pct: float
    temp_degc: float
    thermometer: tuple[str, ...]


_VESSELS: Final = (
    VesselKindly("primary_heater", "heater", 1.0, 100.0, 72.0, ("out",)),
    VesselKindly("liming_tank", "liming_tank", 20.0, 70.0, 75.0, ("inside", "out")),
    VesselKindly("secondary_heater", "heater", 1.0, 100.0, 103.0, ("out",)),
    VesselKindly("flash_tank", "flash_tank", 1.5, 100.0, 100.3, ("out", "inside")),
    VesselKindly("settler", "settler", 75.0, 100.0, 97.0, ("inside", "out")),
    VesselKindly("clear_juice_tank", "clear_juice_tank", 40.0, 40.0, 95.0, ("inside", "out")),
    VesselKindly("clear_juice_heater", "clear_juice_heater", 1.0, 100.0, 110.0, ("out",)),
    VesselKindly("first_evaporator", "evaporator_vessel", 6.0, 60.0, 113.0, ("inside", "out")),
)
#: Vessels that juice is held in at every mill; without one of them no loss can be worked out.
_ALWAYS: Final = ("settler",)
#: Overflow rate of a settler [m/h], share of its volume that is mud zone, and mud per juice.
_OVERFLOW_M_H: Final = 2.8
_MUD_SHARE: Final = 0.4
_MUD_FLOW_SHARE: Final = 0.1
_PH_LIMED, _PH_CLEAR, _BRIX = 7.5, 6.95, 14.5
_PH_SLOPE, _COLD_DEGC = -0.006, 25.0
_MATTERS_PCT: Final = 1.0
_CLEAR_ZONE: Final = "  # of the clear zone alone: the mud zone, below, comes on top of it"
#: A mill's juice flow is more than this [m3/h]; a meter that shows less stands, or is another's.
_LEAST_FEED_M3_H: Final = 1.0


def level_at(guesses: Sequence[Guess], quantity: Quantity, place: str, port: str) -> float | None:
    """Usual level of a point [inside unit]; that of its set-point where one was exported."""
    found: dict[str, float] = {}
    for guess in guesses:
        point = guess.point
        if point and (point.quantity, point.place, point.port) == (quantity, place, port):
            found.setdefault(
                guess.role, inside_value(guess.tag, quantity, guess.tag.middle, guess.unit)
            )
    return found.get("set_point", found.get("measured"))


def feed_m3_h(guesses: Sequence[Guess]) -> float | None:
    """Juice flow that the tags show [m3/h]."""
    spots = (("mixed_juice", ""), ("settler", "in"), ("clear_juice_tank", "out"))
    found = (level_at(guesses, "flow", *spot) for spot in spots)
    return next((flow for flow in found if flow is not None and flow >= _LEAST_FEED_M3_H), None)


def target_lines(guesses: Sequence[Guess]) -> list[str]:
    """Targets: the set-points, or usual levels, of the tags; nothing without a juice flow."""
    feed = feed_m3_h(guesses)
    if feed is None:
        return [
            "# No juice flow was recognised; without it no loss can be worked out: no train here."
        ]
    lines = [
        "# Set-points, else usual levels, of the exports: CONFIRM each.",
        "# The feed also sets the smallest loss that is a finding: lostpol check tells it.",
        "[targets]",
    ]
    lines.append(f"flow_feed_m3_h = {feed:.1f}")
    for key, place, usual in (
        ("ph_limed", "liming_tank", _PH_LIMED),
        ("ph_clear", "settler", _PH_CLEAR),
    ):
        level = level_at(guesses, "ph", place, "out")
        lines.append(_target(key, level, usual, 4.0, 12.0, 2))
    lines.append(_target("brix_pct", level_at(guesses, "brix", "mixed_juice", ""), _BRIX, 5, 40, 1))
    return lines


def _target(
    key: str, level: float | None, usual: float, low: float, high: float, digits: int
) -> str:
    if level is None:
        return f"{key} = {usual}  # CONFIRM: no tag shows it; common practice"
    if not low <= level <= high:
        return f"{key} = {usual}  # CONFIRM: the tag shows {level:.3g}, which cannot be"
    return f"{key} = {round(level, digits)}"


def drafted_train(
    guesses: Sequence[Guess], lab: Sequence[LabGuess], sizes: Mapping[str, Size]
) -> list[DraftedVessel]:
    """Vessels at which a tag or a lab series was placed, or that a table names, in flow order.

    Parameters
    ----------
    guesses : sequence of Guess
    lab : sequence of LabGuess
    sizes : mapping of str to Size
        Volumes and areas that the mill gave, by vessel.
    """
    feed = feed_m3_h(guesses)
    if feed is None:
        return []
    places = {g.point.place for g in guesses if g.point} | {g.place for g in lab} | set(sizes)
    chosen = [v for v in _VESSELS if v.name in places or v.name in _ALWAYS]
    weights = {v.name: _weight(v, guesses, feed, sizes.get(v.name)) for v in chosen}
    total = sum(weights.values()) or 1.0
    vessels = []
    for v in chosen:
        size = sizes.get(v.name)
        volume = size.volume_m3 if size else feed * v.residence_min / 60.0
        area = (size.area_m2 if size else None) or (
            feed / _OVERFLOW_M_H if v.kind == "settler" else None
        )
        share = 10.0 * weights[v.name] / total
        matters = (
            f"a volume wrong by 10 % makes the tonnes of the whole station wrong by {share:.0f} %"
            if share >= _MATTERS_PCT
            else "matters little: under 1 % of the tonnes for 10 % of volume"
        )
        vessels.append(
            DraftedVessel(
                v.name,
                v.kind,
                volume,
                area,
                size is None,
                "" if size else matters,
                share,
                v.kind == "settler" and (size is None or size.area_m2 is None),
                _MUD_SHARE * volume if v.kind == "settler" else 0.0,
            )
        )
    return vessels


def _weight(
    vessel: VesselKindly, guesses: Sequence[Guess], feed: float, size: Size | None
) -> float:
    """Inversion in a vessel by published kinetics, in any unit: rate times time held."""
    temp = _temp_degc(vessel, guesses)
    ph = level_at(guesses, "ph", "settler", "out") or _PH_CLEAR
    if vessel.kind == "liming_tank":
        ph = level_at(guesses, "ph", "liming_tank", "out") or _PH_LIMED
    minutes = 60.0 * size.volume_m3 / feed if size else vessel.residence_min
    hot = float(ph_at_process(ph, temp, _PH_SLOPE, _COLD_DEGC))
    return minutes * vessel.level_pct * float(inversion_1_min(hot, temp, _BRIX))


def _temp_degc(vessel: VesselKindly, guesses: Sequence[Guess]) -> float:
    temps = (level_at(guesses, "temperature", vessel.name, p) for p in vessel.thermometer)
    return next((t for t in temps if t is not None and 20.0 <= t <= 140.0), vessel.temp_degc)


def train_lines(vessels: Sequence[DraftedVessel], guesses: Sequence[Guess]) -> list[str]:
    """Sections of the drafted vessels."""
    if not vessels:
        return []
    kinds = {v.name: v for v in _VESSELS}
    feed = feed_m3_h(guesses) or 1.0
    lines = [
        "# The train, in flow order, as far as the exports show it. A volume marked CONFIRM is the",
        "# juice flow times a usual residence (common practice): take it from drawings.",
    ]
    for vessel in vessels:
        lines += ["", *_vessel(vessel, kinds[vessel.name], guesses, feed)]
    return lines


def _vessel(
    drafted: DraftedVessel, kind: VesselKindly, guesses: Sequence[Guess], feed: float
) -> list[str]:
    guess = f"  # CONFIRM: {kind.residence_min:g} min of juice flow; {drafted.matters}"
    given = _CLEAR_ZONE if drafted.kind == "settler" else ""
    lines = [
        "[[train]]",
        f'name = "{drafted.name}"',
        f'kind = "{drafted.kind}"',
        f"volume_m3 = {_size(drafted.volume_m3)}" + (guess if drafted.guessed else given),
    ]
    if drafted.guessed:
        lines.append("volume_rel_sd = 0.3  # CONFIRM: of a volume from drawings, 0.1")
    lines.append(f"temp_degc = {_temp_degc(kind, guesses):.1f}")
    level = level_at(guesses, "level", drafted.name, "")
    level = kind.level_pct if level is None or not 1.0 <= level <= 100.0 else level
    lines.append(f"level_pct = {level:.0f}")
    if drafted.kind == "settler":
        lines += _settler(guesses, feed, drafted)
    if drafted.kind == "evaporator_vessel":
        brix = level_at(guesses, "brix", drafted.name, "out")
        lines.append(f"brix_pct = {20.0 if brix is None or not 0.0 < brix < 80.0 else brix:.1f}")
    return lines


def _size(value: float) -> str:
    """Volume or area; a small one is not rounded to nothing."""
    return f"{value:.1f}" if value >= 1.0 else repr(float(f"{value:.2g}"))


def _settler(guesses: Sequence[Guess], feed: float, drafted: DraftedVessel) -> list[str]:
    level = level_at(guesses, "mud_level", "settler", "mud")
    flow = level_at(guesses, "flow", "settler", "mud")
    known = level is not None and 1.0 <= level <= 100.0
    mark = "  # CONFIRM: juice flow over a usual overflow rate" if drafted.area_guessed else ""
    return [
        f"area_m2 = {_size(drafted.area_m2 or 0.0)}{mark}",
        "tanks = 3",
        f"mud_volume_m3 = {drafted.mud_volume_m3:.1f}  # CONFIRM",
        f"mud_level_pct = {level if known else 45.0:.0f}",
        f"mud_flow_m3_h = {_MUD_FLOW_SHARE * feed if flow is None or flow <= 0.0 else flow:.1f}",
    ]


#: Measuring points without which something cannot be seen, and what (common practice).
_WANTED: Final[tuple[tuple[Quantity, str, str, str, str], ...]] = (
    ("flow", "mixed_juice", "", "flow of the mixed juice",
     "no residence time and no tonnes can be worked out"),
    ("ph", "settler", "out", "pH of the clear juice",
     "acid inversion rests on the target pH: no loss by low pH can show"),
    ("ph", "liming_tank", "out", "pH of the limed juice",
     "the fall of pH across the settler, the first sign of souring, cannot be seen"),
    ("temperature", "settler", "inside", "temperature in the settler",
     "its target stands in: juice held too hot or cooling on a stop is not seen"),
    ("temperature", "secondary_heater", "out", "temperature after the secondary heater",
     "overheating is not seen"),
    ("mud_level", "settler", "mud", "mud level in the settler",
     "losses in held mud are not seen"),
    ("level", "clear_juice_tank", "", "level of the clear juice tank",
     "juice that stands in a full tank is not seen"),
    ("temperature", "liming_tank", "inside", "temperature in the liming tank",
     "cold spells that microbes like are not seen there"),
)  # fmt: skip


def missing_points(guesses: Sequence[Guess], lab: Sequence[LabGuess]) -> list[Missing]:
    """Measuring points and analyses that no export shows, and what each costs."""
    there = {
        (g.point.quantity, g.point.place, g.point.port)
        for g in guesses
        if g.point and g.role == "measured"
    }
    found = [
        Missing(words, costs)
        for quantity, place, port, words, costs in _WANTED
        if (quantity, place, port) not in there
    ]
    sampled = {(g.analyte, g.place) for g in lab}
    rs = {place for analyte, place in sampled if analyte == "rs"}
    if not (rs & {"liming_tank", "mixed_juice"} and rs & {"settler", "clear_juice_tank"}):
        found.append(
            Missing(
                "reducing sugars before and after the settler",
                "the level of the loss rests on published kinetics: tonnes may be off by a factor",
            )
        )
    if not {("ph", "settler"), ("ph", "liming_tank")} & sampled:
        costs = "a pH probe that drifts cannot be told from juice that changes"
        found.append(Missing("laboratory pH of limed or clear juice", costs))
    if "lactic" not in {analyte for analyte, _ in sampled}:
        costs = "microbial loss is seen by lime and pol alone, less surely"
        found.append(Missing("lactic acid of mixed and clear juice", costs))
    return found
