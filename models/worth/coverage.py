"""Which losses the tags and results of a station can show, and which not.

What nothing measures stands at its target in every minute: no fault of it can show, however much it
loses. So a cause can be seen as far as what tells of it is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from features.base import Port, Quantity, Station, VesselKind
from features.flow import filtrate_told, mud_told, probe_signal, temperature_source
from models.amount import lab_points

_CONTENT: Final[tuple[Port, ...]] = ("inside", "out", "")
#: Places whose flow is not that of the juice through the train.
_NO_FEED: Final = ("mill", "filtrate", "syrup")
_TANKS: Final[tuple[VesselKind, ...]] = ("liming_tank", "clear_juice_tank")


@dataclass(frozen=True, slots=True)
class Coverage:
    """What can be seen.

    Attributes
    ----------
    missing : tuple of str
        Needs of `NEEDS` that the station should meet and does not, in their order.
    unmet : dict of str to tuple of str
        By cause of a loss, the needs that keep it from being seen; empty where it is seen in full.
    blind : frozenset of str
        Causes that cannot be seen at all; others with unmet needs are seen in part.
    """

    missing: tuple[str, ...]
    unmet: dict[str, tuple[str, ...]]
    blind: frozenset[str]


def _has(
    kind: VesselKind, quantity: Quantity, ports: tuple[Port, ...] = ()
) -> Callable[[Station], bool | None]:
    """Ask whether every vessel of a kind has a tag; None where there is no such vessel."""

    def asked(station: Station) -> bool | None:
        vessels = station.of_kind(kind)
        return (
            all(_measured(station, v.name, quantity, ports) for v in vessels) if vessels else None
        )

    return asked


def _measured(station: Station, place: str, quantity: Quantity, ports: tuple[Port, ...]) -> bool:
    return any(
        s.place == place
        and s.quantity == quantity
        and not s.beside
        and (not ports or s.port in ports)
        for s in station.signals
    )


def _flow(station: Station) -> bool | None:
    return any(
        s.quantity == "flow" and s.port != "mud" and s.place not in _NO_FEED and not s.beside
        for s in station.signals
    )


def _limed_ph(station: Station) -> bool | None:
    return probe_signal(station, "limed") is not None if station.of_kind("liming_tank") else None


def _clear_ph(station: Station) -> bool | None:
    return probe_signal(station, "clear") is not None if station.of_kind("settler") else None


def _evaporator_heat(station: Station) -> bool | None:
    """Whether a thermometer or a vapour pressure tells how hot every evaporator vessel is."""
    vessels = station.of_kind("evaporator_vessel")
    told = [temperature_source(station, v).told for v in vessels]
    return all(t in ("read", "vapour") for t in told) if vessels else None


def _filtrate(station: Station) -> bool | None:
    """Whether a meter or the description tells of the filtrate of a settler's mud."""
    muddy = any(v.mud_flow_m3_h > 0.0 for v in station.of_kind("settler"))
    return filtrate_told(station) if muddy else None


def _mud(station: Station) -> bool | None:
    """Whether a level, or an underflow whose balance stands in for it, tells of every mud zone."""
    settlers = station.of_kind("settler")
    return all(mud_told(station, v) != "target" for v in settlers) if settlers else None


def _grabs(point: str) -> Callable[[Station], bool | None]:
    kind: VesselKind = "liming_tank" if point == "limed" else "settler"

    def asked(station: Station) -> bool | None:
        if not station.of_kind(kind):
            return None
        where = getattr(lab_points(station), point)
        return any(s.analyte == "ph" and (s.place, s.port) == where for s in station.lab)

    return asked


def _lactic(station: Station) -> bool | None:
    """Whether some tank has lactic acid behind it and before it, as `find_microbial` asks."""
    tanks = [v for v in station.vessels if v.kind in _TANKS]
    if not tanks:
        return None
    step = {v.name: v.step for v in station.vessels}
    sampled = [(s.place, s.port) for s in station.lab if s.analyte == "lactic"]
    return any(
        (tank.name, "out") in sampled
        and any(place != tank.name and step.get(place, -1) < tank.step for place, _ in sampled)
        for tank in tanks
    )


def _microbes(station: Station) -> bool | None:
    """Whether anything speaks of microbes: lactic acid, lime beside a pH, or pol on both sides."""
    tanks = [v for v in station.vessels if v.kind in _TANKS]
    if not tanks:
        return None
    pol = {s.place for s in station.lab if s.analyte in ("pol", "purity") and s.period_h == 0.0}
    step = {v.name: v.step for v in station.vessels}
    sides = any(
        any(step.get(p, -1) < tank.step for p in pol)
        and any(step.get(p, -1) >= tank.step for p in pol)
        for tank in tanks
    )
    lime = any(s.quantity == "lime_flow" for s in station.signals) and bool(_flow(station))
    limed = bool(station.of_kind("liming_tank")) and bool(_limed_ph(station))
    return bool(_lactic(station)) or (lime and limed) or sides


#: What a station must measure, by name; asked of it: is it there? None where it has no use for it.
NEEDS: Final[Mapping[str, Callable[[Station], bool | None]]] = {
    "flow": _flow,
    "ph_limed": _limed_ph,
    "ph_clear": _clear_ph,
    "temp_settler": _has("settler", "temperature", _CONTENT),
    "level_settler": _has("settler", "level", _CONTENT),
    "filtrate": _filtrate,
    "mud": _mud,
    "mud_level": _has("settler", "mud_level"),
    "level_liming_tank": _has("liming_tank", "level"),
    "temp_liming_tank": _has("liming_tank", "temperature"),
    "level_clear_juice_tank": _has("clear_juice_tank", "level"),
    "temp_clear_juice_tank": _has("clear_juice_tank", "temperature"),
    "temp_clear_juice_heater": _has("clear_juice_heater", "temperature"),
    "temp_evaporator": _evaporator_heat,
    "level_evaporator": _has("evaporator_vessel", "level"),
    "grabs_limed": _grabs("limed"),
    "grabs_clear": _grabs("clear"),
    "lactic": _lactic,
    "microbes": _microbes,
}

#: Needs of each cause: those without which it cannot be seen at all, and those that widen the view.
CAUSES: Final[Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "low_limed_ph": (("ph_limed",), ("grabs_limed",)),
    "ph_probe_high": (("ph_limed", "grabs_limed"), ()),
    "standing_juice": (("flow",), ("level_settler", "temp_settler")),
    "slow_throughput": (("flow",), ("filtrate",)),
    "overheating": (
        (),
        (
            *("temp_liming_tank", "temp_settler", "temp_clear_juice_tank"),
            *("temp_clear_juice_heater", "temp_evaporator"),
        ),
    ),
    "tank_held": ((), ("level_liming_tank", "level_clear_juice_tank", "level_evaporator")),
    "mud_held": (("mud",), ("mud_level",)),
    "microbial": (("microbes",), ("lactic", "temp_liming_tank", "temp_clear_juice_tank")),
    "clear_probe_low": (("ph_clear", "grabs_clear"), ()),
    "short_circuiting": (("ph_clear", "ph_limed"), ()),
    "late_lime_reaction": (("ph_clear",), ("level_liming_tank", "temp_liming_tank")),
    "settler_infection": (("ph_clear", "temp_settler"), ()),
    "invert_destruction": (("ph_clear", "ph_limed"), ("temp_settler",)),
    "unexplained": (("ph_clear",), ("grabs_clear",)),
}


def coverage_of(station: Station) -> Coverage:
    """Which losses the tags and results of a station can show.

    Parameters
    ----------
    station : Station
        With the signals and lab series that count: leave out those that report nothing.

    Returns
    -------
    Coverage
        A cause without any vessel that could suffer it is in neither ``unmet`` nor ``blind``.
    """
    met = {name: ask(station) for name, ask in NEEDS.items()}
    missing = tuple(name for name, there in met.items() if there is False)
    unmet: dict[str, tuple[str, ...]] = {}
    blind = set()
    for cause, (must, more) in CAUSES.items():
        asked = [name for name in (*must, *more) if met[name] is not None]
        if not asked or any(met[name] is None for name in must):
            continue
        unmet[cause] = tuple(name for name in asked if not met[name])
        if any(name in missing for name in must) or len(unmet[cause]) == len(asked):
            blind.add(cause)
    return Coverage(missing, unmet, frozenset(blind))
