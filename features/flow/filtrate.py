"""Filtrate: juice washed out of the mud and returned, metered, described, or seen in a balance.

It left the settler with the mud and was fed once; it makes the flow behind its return larger and
the stay there shorter, and is never counted as fed again. A cubic metre of it
counts as one of mixed juice: it is a tenth of the juice, and hotter by 2 % of its own volume.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from features.base import FloatArray, Port, Station, Vessel
from features.flow.expansion import as_fed
from features.flow.stream import Stream, Tracer
from features.flow.tracks import Track, Tracks

PLACE = "filtrate"
#: Share of the mixed juice that mills return (common practice: 8-15 %).
USUAL_SHARE = 0.11
#: Brix of filtrate as a share of the juice's where nothing tells: the mud is washed (estimate).
USUAL_STRENGTH = 0.8
_PORTS: tuple[Port, ...] = ("",)
#: Difference of two flow meters of the same stream, as a share of it: two scale errors of 1.5 %
#: (common practice: meters long in service), and hot juice told as it is or as cold, which is taken
#: half way, and so is off by 1.8 %. Simulated mills 300-399 differ by 0.027.
_METERS_SD = 0.028
#: Fewest hours with feed that a balance of two meters rests on, and least flow of an hour.
_LEAST_HOURS, _FLOWING = 12, 0.5


@dataclass(frozen=True, slots=True)
class FiltrateShare:
    """Filtrate as a share of the mixed juice, by two meters.

    Attributes
    ----------
    share, sd : float
        Share and its standard error [-].
    hours : int
        Hours with feed that it rests on.
    """

    share: float
    sd: float
    hours: int


def has_filtrate(station: Station) -> bool:
    """Whether a meter or the description tells of filtrate that is returned."""
    return station.signal("flow", PLACE) is not None or _described(station) > 0.0


def filtrate_told(station: Station) -> bool:
    """Whether the description says anything of filtrate, be it that none is returned."""
    return has_filtrate(station) or station.filtrate.share_pct is not None


def _described(station: Station) -> float:
    """Share of the mixed juice that the description tells, 0 without one [-]."""
    return 0.01 * (station.filtrate.share_pct or 0.0)


def target_filtrate_m3_h(station: Station) -> float:
    """Filtrate returned with the station at its targets [m3/h].

    A share that is not described counts as usual where a meter stands; without one as none.
    """
    share = _described(station)
    if share <= 0.0 and station.signal("flow", PLACE) is not None:
        share = USUAL_SHARE
    return share * station.targets.flow_feed_m3_h


def return_step(station: Station) -> int:
    """Step of the vessels that filtrate flows into with the juice.

    Limed juice is the liming tank's; without one, and for mixed juice, the first vessel's.
    """
    first = min(v.step for v in station.vessels)
    tanks = station.of_kind("liming_tank")
    return tanks[0].step if station.filtrate.to == "limed" and tanks else first


def filtrate_at(station: Station, vessel: Vessel) -> float:
    """Filtrate in the juice that flows into a vessel, at target [m3/h]."""
    return target_filtrate_m3_h(station) if vessel.step >= return_step(station) else 0.0


def filtrate_flow(tracks: Tracks, fresh: Track) -> Track:
    """Filtrate returned [m3/h]: metered, or its described share of the juice, or none.

    Parameters
    ----------
    tracks : Tracks
    fresh : Track
        Mixed juice without filtrate [m3/h].

    Returns
    -------
    Track
    """
    target = target_filtrate_m3_h(tracks.station)
    if tracks.has("flow", PLACE):
        read = tracks.read("flow", PLACE, _PORTS, target)
        return replace(read, values=np.maximum(read.values, 0.0))
    share = _described(tracks.station)
    return Track(share * fresh.values, fresh.known, measured=False)


def fresh_feed(tracks: Tracks, meter: Track, step: int | None) -> Track:
    """Mixed juice without filtrate [m3/h], from the meter that tells the feed.

    Parameters
    ----------
    tracks : Tracks
    meter : Track
        Flow as metered [m3/h].
    step : int or None
        Step of the vessel it stands at; None for mixed juice.

    Returns
    -------
    Track
        The meter's, less the filtrate where it stands behind the return.
    """
    station = tracks.station
    if not has_filtrate(station) or not meter.measured:
        return meter
    told = station.filtrate.feed_meter
    behind = told == "behind" or (told == "by_place" and step is not None)
    if not behind or (step is not None and step < return_step(station)):
        return meter
    if not tracks.has("flow", PLACE):
        return replace(meter, values=meter.values / (1.0 + _described(station)))
    back = filtrate_flow(tracks, meter)
    fresh = np.maximum(meter.values - back.values, 0.0)
    return Track(fresh, meter.known & back.known, measured=True)


def with_filtrate(tracks: Tracks, stream: Stream, fresh: Track, fresh_degc: FloatArray) -> Stream:
    """Juice with the filtrate that flows into it.

    Parameters
    ----------
    tracks : Tracks
    stream : Stream
        Juice up to the return, its flow as fed.
    fresh : Track
        Mixed juice fed [m3/h as metered].
    fresh_degc : ndarray, shape (n,)
        Its temperature at the meter [degC].

    Returns
    -------
    Stream
        Brix by mixing, as measured or as strong as usual; pH and purity are the juice's, which the
        next probe and the laboratory read with the filtrate in it.
    """
    if not has_filtrate(tracks.station):
        return stream
    returned = filtrate_flow(tracks, fresh)
    described, juice = tracks.station.filtrate.brix_pct, stream.tracers[:, Tracer.BRIX]
    strong = np.asarray(USUAL_STRENGTH * juice if described is None else described + 0.0 * juice)
    read = tracks.read("brix", PLACE, _PORTS, 0.0)
    if read.measured:
        strong = np.where(read.known, read.values, strong)
    # None goes to a standing mill: what a meter shows then is its zero.
    as_juice = returned.values * as_fed(tracks.station, fresh_degc)
    back = np.where(stream.flow_m3_h > 0.0, as_juice, 0.0)
    total = stream.flow_m3_h + back
    share = back / np.maximum(total, 1e-9)
    joined = replace(stream, flow_m3_h=total, flow_known=stream.flow_known & returned.known)
    return joined.with_tracers(brix=(1.0 - share) * juice + share * strong)


def share_by_balance(
    mixed_m3_h: FloatArray,
    limed_m3_h: FloatArray,
    lime_m3_h: FloatArray | float = 0.0,
    expansion: float = 1.0,
) -> FiltrateShare | None:
    """Filtrate share of a mill that meters juice on both sides of its return.

    Parameters
    ----------
    mixed_m3_h, limed_m3_h : ndarray, shape (n,)
        Mixed juice before the return and limed juice behind it, by minute, NaN where missing
        [m3/h].
    lime_m3_h : float or ndarray, shape (n,)
        Milk of lime added between the two [m3/h].
    expansion : float
        Volume of the limed juice over that of the same juice where it was fed [-]. Nobody knows
        whether a meter tells hot juice as it is or as cold: half of the expansion is taken out.

    Returns
    -------
    FiltrateShare or None
        None with too few hours of feed. Meters err by more than the noise of hours: a share under
        about 5 % is no proof of any filtrate.
    """
    n = mixed_m3_h.shape[0] // 60 * 60
    lime = np.broadcast_to(np.asarray(lime_m3_h, dtype=float), mixed_m3_h.shape)
    sums = np.stack([mixed_m3_h[:n], limed_m3_h[:n], lime[:n]]).reshape(3, -1, 60).mean(axis=2)
    whole = np.isfinite(sums).all(axis=0)
    mixed, limed, milk = sums[:, whole]
    if not len(mixed):
        return None
    flowing = mixed > _FLOWING * float(np.median(mixed))
    if int(flowing.sum()) < _LEAST_HOURS:
        return None
    ratio = (limed - milk)[flowing] / mixed[flowing] / np.sqrt(expansion) - 1.0
    middle = float(np.median(ratio))
    spread = 1.4826 * float(np.median(np.abs(ratio - middle)))
    hours = int(flowing.sum())
    return FiltrateShare(middle, float(np.hypot(_METERS_SD, spread / np.sqrt(hours))), hours)
