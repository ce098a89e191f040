"""Whether anything but one transmitter bears an episode out.

Heat does not stay where it is, a tank fills only with juice that flows into it, and a mill that
slows down slows everywhere. An episode that rests on one reading, while every reading that should
have moved with it stood still, is a fault of that sensor and no loss. Where nothing else is
measured nothing can be said, and the episode stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from features.station import Signal, Station
from models.candidates import Candidate
from models.channels import MUD_SUFFIX, vessel_of
from models.drivers import Excess
from models.minutes import Minutes
from models.series import Array

#: Share of an episode's excess that one zone must carry for its sensor to be questioned.
_ALONE_SHARE = 0.7
#: A witness that moved by this share of the questioned reading bears it out (estimate).
_MOVED_SHARE = 0.25
#: Least rise that must show elsewhere [K] (estimate): in vessels without heat of their own, and
#: in a boiling vessel, whose vapour and steam other heaters share (common practice).
_PASSIVE_RISE_K = 2.0
_BOILING_RISE_K = 5.0
_LEAST_FALL = 0.1
#: Level: no pump moves this many times the station's feed, nor this share of a vessel, in
#: three minutes (estimates).
_JUMP_FEEDS = 3.0
_JUMP_SHARE = 0.15
_JUMP_MIN = 3
#: Share of a rise that the flow meters must have brought in (estimate).
_FILLED_SHARE = 0.4
_FILL_MIN = 300
_AROUND_MIN = 12 * 60
_EDGE_MIN = 60
#: Vessels without heat of their own; of these a flash tank is held at its boiling point.
_STILL = ("liming_tank", "settler", "clear_juice_tank")
_PASSIVE = (*_STILL, "flash_tank")
_HEATED = ("heater", "clear_juice_heater")


@dataclass(frozen=True, slots=True)
class SensorFault:
    """An episode that only one sensor speaks for.

    Attributes
    ----------
    start, end : int
        First minute and the one after the last.
    tag : str
        The sensor's tag, as exported (untrusted text).
    why : str
        What it showed and what did not follow.
    kg : float
        Excess that it would have meant, had it been true [kg sucrose].
    """

    start: int
    end: int
    tag: str
    why: str
    kg: float


@dataclass(frozen=True)
class _Case:
    """What a check may look at."""

    item: Candidate
    minutes: Minutes
    excess: Excess
    station: Station

    @property
    def span(self) -> tuple[int, int]:
        return self.item.span.start, self.item.span.end

    def before_and_in(self, values: Array) -> tuple[float, float]:
        """Medians outside the episode (half a day on either side) and inside it."""
        start, end = self.span
        outside = np.concatenate(
            [
                values[max(start - _AROUND_MIN, 0) : max(start - _EDGE_MIN // 2, 0)],
                values[end + _EDGE_MIN : end + _AROUND_MIN],
            ]
        )
        return _median(outside), _median(values[start:end])


def corroborate(
    found: list[Candidate], minutes: Minutes, excess: Excess, station: Station
) -> tuple[list[Candidate], list[SensorFault]]:
    """Part the episodes that something bears out from those of a single sick sensor.

    Parameters
    ----------
    found : list of Candidate
    minutes : Minutes
    excess : Excess
    station : Station

    Returns
    -------
    kept : list of Candidate
        In order of time. Lesser episodes that a refuted one had taken up stand on their own.
    faults : list of SensorFault
    """
    kept: list[Candidate] = []
    faults: list[SensorFault] = []
    for item in found:
        alone = [replace(item, joined=())]
        alone += [Candidate(*part) for part in item.joined]
        refuted = _refuted(_Case(item, minutes, excess, station))
        if refuted is None:
            kept.append(item)
            continue
        faults.append(refuted)
        for lesser in alone[1:]:
            fault = _refuted(_Case(lesser, minutes, excess, station))
            if fault is None:
                kept.append(lesser)
            else:
                faults.append(fault)
    return sorted(kept, key=lambda c: c.span.start), faults


def with_faults(notices: pl.DataFrame, minutes: Minutes, faults: list[SensorFault]) -> pl.DataFrame:
    """Notices with those of sick sensors, in order of time."""
    rows = [
        {
            "started": minutes.at(fault.start),
            "ended": minutes.at(fault.end),
            "kind": "sensor_fault",
            "text": f"{fault.tag}: {fault.why} Compare it with a gauge on the spot; were it "
            f"right, about {fault.kg / 1000.0:.1f} t of sucrose would have been lost.",
        }
        for fault in faults
    ]
    more = pl.DataFrame(rows, schema=notices.schema)
    return pl.concat([notices, more]).sort("started", "kind")


def _refuted(case: _Case) -> SensorFault | None:
    check = _CHECKS.get(case.item.channel.name)
    return check(case) if check is not None else None


def _fault(case: _Case, signal: Signal, why: str) -> SensorFault:
    return SensorFault(*case.span, signal.tag, why, case.item.span.kg)


# Heat -----------------------------------------------------------------------------------------


def _heat(case: _Case) -> SensorFault | None:
    """A temperature that rose alone."""
    start, end = case.span
    kg = {
        z: float(np.nansum(case.excess.by_driver[z, "temperature"][start:end]))
        for z in case.item.channel.zones
    }
    zone = max(kg, key=kg.__getitem__)
    signal = _thermometer(case.station, zone)
    if signal is None or kg[zone] < _ALONE_SHARE * sum(max(v, 0.0) for v in kg.values()):
        return None
    usual, now = case.before_and_in(case.minutes.zones[zone]["temp_degc"])
    rise = now - usual
    boiling = _kind(case.station, zone) == "evaporator_vessel"
    if not rise >= (_BOILING_RISE_K if boiling else _PASSIVE_RISE_K):
        return None
    moves = {}
    for witness in _heat_witnesses(case, zone):
        before, during = case.before_and_in(case.minutes.zones[witness]["temp_degc"])
        if np.isfinite(during - before):
            moves[witness] = during - before
    if not moves or max(moves.values()) >= _MOVED_SHARE * rise:
        return None
    others = ", ".join(f"{_words(z)} {dt:+.1f} K" for z, dt in moves.items())
    return _fault(case, signal, f"temperature up by {rise:.1f} K, but nothing followed ({others}).")


def _heat_witnesses(case: _Case, zone: str) -> list[str]:
    """Zones with a live thermometer that must warm with this one.

    Heat shows downstream as far as nothing controls or caps it: not behind a heater, and not in
    a flash tank, which boils. It comes from upstream, unless the vessel is heated itself; of a
    boiling vessel the heater before it shares the steam.
    """
    if zone.endswith(MUD_SUFFIX):
        near = [zone.removesuffix(MUD_SUFFIX)]
    else:
        order = [z for z in case.minutes.zones if not z.endswith(MUD_SUFFIX)]
        place = order.index(zone)
        kind = _kind(case.station, zone)
        near = [zone + MUD_SUFFIX, *_nearest(case, order[place + 1 :], _STILL)]
        if kind == "evaporator_vessel":
            near += [z for z in order[:place][-1:] if _kind(case.station, z) in _HEATED]
        elif kind in _PASSIVE:
            near += _nearest(case, order[:place][::-1], (*_PASSIVE, *_HEATED))
    return [z for z in near if _measured(case, z)]


def _nearest(case: _Case, zones: list[str], kinds: tuple[str, ...]) -> list[str]:
    """First zone with a live thermometer, unless another kind or an unmeasured heater is met."""
    for zone in zones:
        kind = _kind(case.station, zone)
        if kind not in kinds:
            return []
        if _measured(case, zone):
            return [zone]
        if kind in _HEATED:
            return []
    return []


def _measured(case: _Case, zone: str) -> bool:
    """Whether a zone has a thermometer of its own that is alive."""
    if zone not in case.minutes.zones or _thermometer(case.station, zone) is None:
        return False
    start, end = case.span
    return _alive(case.minutes.zones[zone]["temp_degc"][max(start - _AROUND_MIN, 0) : end])


def _thermometer(station: Station, zone: str) -> Signal | None:
    if zone.endswith(MUD_SUFFIX):
        return station.signal("temperature", zone.removesuffix(MUD_SUFFIX), "mud")
    found = (station.signal("temperature", zone, port) for port in ("inside", "out", ""))
    return next((s for s in found if s is not None), None)


# Level ----------------------------------------------------------------------------------------


def _hold(case: _Case) -> SensorFault | None:
    """A level that rose as no pump can raise it, or without juice to fill the tank."""
    zone = case.item.channel.section
    mud = zone.endswith(MUD_SUFFIX)
    quantity, place = ("mud_level" if mud else "level"), zone.removesuffix(MUD_SUFFIX)
    signal = case.station.signal("mud_level" if mud else "level", place)
    if signal is None:
        return None
    volume = case.minutes.zones[zone]["volume_m3"]
    name = quantity.replace("_", " ")
    jump = _jump_m3(case, volume)
    if jump is not None:
        why = f"{name} jumped by {jump:+.0f} m3 within {_JUMP_MIN} minutes, more than pumps move."
        return _fault(case, signal, why)
    if mud or case.station.signal("flow", place, "out") is None:
        return None
    rise, filled = _filling_m3(case, volume, case.minutes.zones[zone])
    if rise is None or filled is None or filled >= _FILLED_SHARE * rise:
        return None
    why = (
        f"level up by {rise:.0f} m3, but the flow meters brought in {filled:.0f} m3 more than left."
    )
    return _fault(case, signal, why)


def _jump_m3(case: _Case, volume: Array) -> float | None:
    """Change too fast and too lasting to be juice, at either end of the episode [m3]."""
    feed = _median(case.minutes.station["flow_feed_m3_h"])
    vessel = vessel_of(case.station, case.item.channel.section)
    mud = case.item.channel.section.endswith(MUD_SUFFIX)
    full = vessel.mud_volume_m3 if mud else vessel.volume_m3
    limit = max(_JUMP_FEEDS * feed * _JUMP_MIN / 60.0, _JUMP_SHARE * full)
    for edge in case.span:
        for i in range(max(edge - _EDGE_MIN, 10), min(edge + _EDGE_MIN, len(volume) - 13)):
            change = volume[i + _JUMP_MIN] - volume[i]
            if abs(change) <= limit:
                continue
            lasting = _median(volume[i + _JUMP_MIN : i + 13]) - _median(volume[i - 10 : i + 1])
            if abs(lasting) > limit:
                return float(lasting)
    return None


def _filling_m3(
    case: _Case, volume: Array, columns: dict[str, Array]
) -> tuple[float | None, float | None]:
    """Rise of the volume at the start of the episode, and what the meters say flowed in [m3]."""
    start, end = case.span
    first, last = start - _EDGE_MIN, min(start + _FILL_MIN, end)
    if first < 0:
        return None, None
    net = columns["flow_in_m3_h"] - columns["flow_out_m3_h"]
    # Two meters never agree: what they usually differ by is no filling.
    usual, _ = case.before_and_in(net)
    course = net[first:last] - usual
    if not np.isfinite(course).mean() >= 0.9 or not np.isfinite(volume[first:last]).any():
        return None, None
    filled = np.nancumsum(course) / 60.0
    risen = volume[first:last] - _median(volume[max(first - _EDGE_MIN, 0) : first + _EDGE_MIN // 2])
    top = float(np.nanquantile(risen, 0.9))
    at = int(np.flatnonzero(np.nan_to_num(risen, nan=-np.inf) >= 0.9 * top)[0])
    return (top, float(filled[at:].max())) if top > 0.0 else (None, None)


# Flow -----------------------------------------------------------------------------------------


def _flow(case: _Case) -> SensorFault | None:
    """A feed meter that fell while the juice went on as before."""
    signal = case.station.signal("flow", "mixed_juice")
    if signal is None:
        return None
    fall = _fall(case, case.minutes.station["flow_feed_m3_h"])
    falls = [f for s in _flow_witnesses(case) if np.isfinite(f := _fall(case, s))]
    if not fall >= _LEAST_FALL or not falls or max(falls) >= _MOVED_SHARE * fall:
        return None
    why = f"flow down by {100 * fall:.0f} %, but other flows and the cane rate went on as before."
    return _fault(case, signal, why)


def _fall(case: _Case, values: Array) -> float:
    usual, now = case.before_and_in(values)
    return 1.0 - now / usual if usual > 0.0 else float("nan")


def _flow_witnesses(case: _Case) -> Iterator[Array]:
    """Flows that have a meter of their own, and the cane rate."""
    start, end = case.span
    series = [case.minutes.station["cane_t_h"]]
    for zone, columns in case.minutes.zones.items():
        if zone.endswith(MUD_SUFFIX):
            continue
        for column, ports in (("flow_in_m3_h", ("in", "")), ("flow_out_m3_h", ("out",))):
            if any(case.station.signal("flow", zone, port) for port in ports):  # type: ignore[arg-type]
                series.append(columns[column])
    for values in series:
        if _alive(values[max(start - _AROUND_MIN, 0) : end]):
            yield values


# ----------------------------------------------------------------------------------------------


def _kind(station: Station, zone: str) -> str:
    return "mud" if zone.endswith(MUD_SUFFIX) else str(vessel_of(station, zone).kind)


def _words(zone: str) -> str:
    return zone.removesuffix(MUD_SUFFIX).replace("_", " ") + (
        " mud" if zone.endswith(MUD_SUFFIX) else ""
    )


def _alive(values: Array) -> bool:
    """Whether a series moves at all: one that never does is a target standing in."""
    known = values[np.isfinite(values)]
    return len(known) >= _EDGE_MIN and float(np.ptp(known)) > 1e-6


def _median(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


_CHECKS: dict[str, Callable[[_Case], SensorFault | None]] = {
    "heat": _heat,
    "hold": _hold,
    "mud": _hold,
    "throughput": _flow,
    "standing": _flow,
}
