"""What to name first: of all that moved, what can have driven the loss, furthest upstream.

Physics says what can drive a loss, and in which direction; change points say what moved, and when.
Of what both leave, the first to move is named, and of those that cannot be told apart in time the
one furthest upstream: what lies downstream follows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from features.base import Station
from models.account.first_moves import Departure, first_departure
from models.account.period import MICROBES
from models.account.tracked import FLOCCULANT_PER_JUICE, LIME_PER_JUICE, PROBE_ERROR, Tracked
from models.detect import MUD_SUFFIX

#: Moments this near cannot be told apart, whatever their errors say: averages and recorders [min].
_TOGETHER_MIN = 20.0
#: A departure that falls short of `Departure.clear` may still be named, and is then called weak.
_WEAK_Z = 2.0
#: Of weak moves of one quantity, those that reach so much of the strongest cannot be told apart.
_ALIKE = 0.5
_HEATING = ("heater", "clear_juice_heater", "evaporator_vessel")

#: Kind of driving behind each cause that the search names, and each driver.
_FAMILY_OF_CAUSE = {
    "low_limed_ph": "acid", "ph_probe_high": "acid", "standing_juice": "feed",
    "slow_throughput": "feed", "overheating": "heat", "mud_held": "mud", "microbial": "cold",
    "tank_held": "level", "clear_probe_low": "fall", "short_circuiting": "fall",
    "late_lime_reaction": "fall", "settler_infection": "fall", "invert_destruction": "fall",
}  # fmt: skip
_FAMILY_OF_DRIVER = {
    "ph": "acid", "drop": "fall", "temperature": "heat", "volume": "level", "held": "level",
    "throughput": "feed", "standing": "feed", MICROBES: "cold",
}  # fmt: skip
#: Drivers of the loss that each kind explains.
DRIVERS_OF = {
    "acid": ("ph", "drop"), "fall": ("drop", "ph"), "heat": ("temperature",),
    "level": ("volume", "held"), "mud": ("volume",), "feed": ("throughput", "standing"),
    "cold": (MICROBES,),
}  # fmt: skip


@dataclass(frozen=True)
class Moved:
    """A signal and how it left its usual."""

    signal: Tracked
    departure: Departure


@dataclass(frozen=True)
class Named:
    """What is named first, and what followed.

    Attributes
    ----------
    family : str
        Kind of driving: ``acid``, ``fall``, ``heat``, ``level``, ``mud``, ``feed``, ``cold``.
    first : Moved
    follows : tuple of Moved
        Others that fit, in the order of the flow.
    weak : bool
        Its move is no more than an everyday swing.
    """

    family: str
    first: Moved
    follows: tuple[Moved, ...]
    weak: bool


def family_of(cause: str, driver: str, zone: str) -> str:
    """Kind of driving of a cause that the search named, else of a driver at a zone."""
    if cause in _FAMILY_OF_CAUSE:
        return _FAMILY_OF_CAUSE[cause]
    family = _FAMILY_OF_DRIVER.get(driver, "")
    return "mud" if family == "level" and zone.endswith(MUD_SUFFIX) else family


def all_moves(
    signals: Sequence[Tracked], period: tuple[int, int], *, on_clock: bool
) -> list[Moved]:
    """Departure of every signal around a period, first to move first.

    Parameters
    ----------
    signals : sequence of Tracked
    period : tuple of int
        First minute and the one after the last.
    on_clock : bool
        By the clock rather than on parcel time: a change of the flow acts everywhere at once.
    """
    found = []
    for signal in signals:
        values = signal.by_clock if on_clock else signal.by_parcel
        departure = first_departure(
            signal.key,
            values,
            period,
            travel_min=0.0 if on_clock else signal.travel_min,
            least=signal.least,
        )
        if departure is not None:
            found.append(Moved(signal, departure))
    return sorted(found, key=lambda m: (m.departure.onset_min, m.signal.position, m.signal.key))


def name_first(
    moved: Sequence[Moved], family: str, zone: str, station: Station, cause: str = ""
) -> Named | None:
    """Choose what to name first for a loss.

    Parameters
    ----------
    moved : sequence of Moved
        Of `all_moves`.
    family : str
        Of `family_of`.
    zone : str
        Where the loss lies.
    station : Station
    cause : str
        What the search named, where it did.

    Returns
    -------
    Named or None
        None where nothing that could drive such a loss moved at all.
    """
    fits = [(m, fit) for m in moved if (fit := _fit(m.signal, family, zone, station))]
    right = [m for m, side in fits if side * m.departure.change > 0.0]
    clear = [m for m in right if m.departure.clear]
    weak = not clear
    if weak:
        clear = _weak(right)
    if not clear:
        return None
    first = _lying_probe(clear, right, cause) if family == "acid" else None
    first = first or _furthest_upstream(clear)
    follows = sorted(
        (m for m in clear if m is not first), key=lambda m: (m.signal.position, m.signal.key)
    )
    return Named(family, first, tuple(follows), weak and not first.departure.clear)


def _weak(right: Sequence[Moved]) -> list[Moved]:
    """Of moves within the everyday swing the strongest, or the same further up the train."""
    told = [m for m in right if m.departure.z >= _WEAK_Z]
    if not told:
        return []
    most = max(told, key=lambda m: m.departure.z)
    alike = [
        m
        for m in told
        if m.signal.quantity == most.signal.quantity and m.departure.z >= _ALIKE * most.departure.z
    ]
    return [min(alike, key=lambda m: (m.signal.position, m.signal.key))]


def _furthest_upstream(clear: Sequence[Moved]) -> Moved:
    """Of the first to move, and of what cannot be told apart from it in time."""
    lead = min(clear, key=lambda m: m.departure.onset_min + m.departure.spread_min)
    group = [m for m in clear if not _after(m, lead)]
    return min(group, key=lambda m: (m.signal.position, m.signal.key))


def _after(item: Moved, lead: Moved) -> bool:
    apart = item.departure.onset_min - lead.departure.onset_min
    error = math.hypot(item.departure.spread_min, lead.departure.spread_min)
    return apart > max(error, _TOGETHER_MIN)


def _lying_probe(clear: Sequence[Moved], right: Sequence[Moved], cause: str) -> Moved | None:
    """The limed-juice probe, where it drifted: the loop holds its reading and cuts the lime."""
    error = [m for m in right if m.signal.quantity == PROBE_ERROR]
    if not error:
        return None
    read = [
        m for m in clear if m.signal.quantity == "ph" and m.signal.place == error[0].signal.place
    ]
    if cause == "ph_probe_high" or (error[0] in clear and not read):
        return error[0]
    return None


_Fit = Callable[[Tracked, str, Station], int]


def _fit(signal: Tracked, family: str, zone: str, station: Station) -> int:
    """Side to which a signal must move to drive such a loss there: 1, -1, or 0 for not at all."""
    rule = _RULES.get(family)
    return rule(signal, zone, station) if rule else 0


def _acid(signal: Tracked, _zone: str, station: Station) -> int:
    kind = _kind(signal, station)
    if signal.quantity == LIME_PER_JUICE:
        return -1
    if signal.quantity == PROBE_ERROR and kind != "settler":
        return 1
    return -1 if signal.quantity == "ph" and kind in ("liming_tank", "heater", "flash_tank") else 0


def _fall(signal: Tracked, zone: str, station: Station) -> int:
    if side := _acid(signal, zone, station):
        return side
    kind = _kind(signal, station)
    if signal.quantity == PROBE_ERROR or (signal.quantity == "ph" and kind == "settler"):
        return -1
    if signal.quantity == FLOCCULANT_PER_JUICE:
        return -1
    if kind == "settler":
        return {"turbidity": 1, "mud_level": 1}.get(signal.quantity, 0)
    return 0


def _heat(signal: Tracked, zone: str, station: Station) -> int:
    if signal.quantity not in ("temperature", "steam_pressure"):
        return 0
    return 1 if signal.place in _heated_with(zone, station) else 0


def _cold(signal: Tracked, zone: str, station: Station) -> int:
    if signal.quantity == "level" and signal.place == zone:
        return 1
    inside = signal.quantity in ("temperature", "steam_pressure")
    return -1 if inside and signal.place in _heated_with(zone, station) else 0


def _mud(signal: Tracked, zone: str, _station: Station) -> int:
    if signal.place != zone.removesuffix(MUD_SUFFIX):
        return 0
    if signal.quantity == "flow" and signal.port == "mud":
        return -1
    return 1 if signal.quantity == "mud_level" else 0


def _level(signal: Tracked, zone: str, _station: Station) -> int:
    return 1 if signal.quantity == "level" and signal.place == zone else 0


def _feed(signal: Tracked, _zone: str, station: Station) -> int:
    if signal.quantity == "cane_rate":
        return -1
    stream = signal.place == "mixed_juice" or _kind(signal, station) == "settler"
    return -1 if signal.quantity == "flow" and signal.port != "mud" and stream else 0


_RULES: dict[str, _Fit] = {
    "acid": _acid, "fall": _fall, "heat": _heat, "cold": _cold, "mud": _mud, "level": _level,
    "feed": _feed,
}  # fmt: skip


def _kind(signal: Tracked, station: Station) -> str:
    return next((str(v.kind) for v in station.vessels if v.name == signal.place), "")


def _heated_with(zone: str, station: Station) -> frozenset[str]:
    """Vessels from the one that heats a zone's juice to the zone itself."""
    name = zone.partition(":")[0]
    ordered = sorted(station.vessels, key=lambda v: v.step)
    at = next((v.step for v in ordered if v.name == name), None)
    if at is None:
        return frozenset()
    before = [v for v in ordered if v.step <= at]
    heating = [v.step for v in before if v.kind in _HEATING]
    # An evaporator is heated by its own steam, but gets the juice as its heater left it.
    own = [v.step for v in before if v.kind in _HEATING and v.kind != "evaporator_vessel"]
    first = max(own or heating or [at])
    return frozenset(v.name for v in before if v.step >= first)
