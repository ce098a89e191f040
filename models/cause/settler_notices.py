"""Things about the settler that spoil clear juice rather than sucrose: flash, short way, dose."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from features.base import Station
from features.flow import EffectiveResidence, flocculant_mg_kg
from features.juice import boiling_degc
from models.base import Array, Minutes
from models.cause.residence import crossed

#: Juice has to lie so far below its boiling point, more than a thermometer errs [K] (judgement).
FLASH_MARGIN_K = 0.5
#: Flocculant [mg/kg juice]: 3 to 4, in modern use from 2 (common practice); the upper end is
#: judgement.
LEAST_DOSE, MOST_DOSE = 2.0, 5.0
#: Stretches in which the crossing of the settler is looked at [min], and the least of one.
_STRETCH_MIN, _LEAST_MIN = 7 * 1440, 3 * 1440
#: A share of the nominal volume from which on a short way is worth a word [-] (judgement).
_SHORT = 0.85
#: One kind of mixing for all, which tells the volume well enough and takes a third of the time.
_MIXED = (3,)
_Z90 = 1.645


@dataclass(frozen=True)
class FlashSeen:
    """What is known of the juice before the flash tank.

    Attributes
    ----------
    below_k : ndarray, shape (n,)
        How far the juice lay below its boiling point [K]; NaN in stops and where not measured.
    boils_degc : float
        Its boiling point there [degC].
    tag : str
        Thermometer that says so.
    """

    below_k: Array
    boils_degc: float
    tag: str


def flash_seen(minutes: Minutes, station: Station) -> FlashSeen | None:
    """Compare the juice coming to the flash tank with its boiling point.

    Returns
    -------
    FlashSeen or None
        None without a flash tank, or without a thermometer on the last heater before it.
    """
    tanks = station.of_kind("flash_tank")
    if not tanks:
        return None
    heaters = [v for v in station.of_kind("heater") if v.step < tanks[0].step]
    if not heaters or heaters[-1].name not in minutes.zones:
        return None
    signal = station.signal("temperature", heaters[-1].name)
    if signal is None:
        return None
    brix = minutes.zones[heaters[-1].name]["brix_pct"]
    known = brix[np.isfinite(brix)]
    usual = float(np.median(known)) if len(known) else station.targets.brix_pct
    boils = float(boiling_degc(usual, station.settling.air_kpa))
    temp = minutes.zones[heaters[-1].name]["temp_degc"]
    return FlashSeen(np.where(minutes.stopped, np.nan, boils - temp), boils, signal.tag)


def flash_text(seen: FlashSeen) -> str:
    """Say what juice does that is too cool to flash; a place is left for by how much."""
    return (
        "Juice came to the flash tank {:.1f} K below its boiling point of "
        f"{seen.boils_degc:.1f} °C ({seen.tag}); 102 to 103 °C before it is usual. It does not "
        "flash: air stays in the flocs and they rise instead of settling. Look at the last heater, "
        "its steam and its tubes."
    )


def flocculant_dose(minutes: Minutes, station: Station) -> Array | None:
    """Flocculant by minute [mg/kg juice]; None where the strength of the solution is not known."""
    strength = station.settling.flocculant_g_l
    if strength is None:
        return None
    flow = minutes.station["flow_feed_m3_h"]
    brix = np.where(
        np.isfinite(minutes.station["brix_feed_pct"]),
        minutes.station["brix_feed_pct"],
        station.targets.brix_pct,
    )
    running = ~minutes.stopped & (flow > 0.1 * station.targets.flow_feed_m3_h)
    # Mixed juice is metered cool; 30 or 60 degC move its density by 1 %.
    fed = np.where(running, flow, np.nan)
    return np.asarray(
        flocculant_mg_kg(minutes.station["flocculant_l_h"], strength, fed, brix, 30.0)
    )


def short_ways(minutes: Minutes, station: Station) -> list[dict[str, object]]:
    """Weeks in which juice passed through clearly less of the settlers than they hold.

    Returns
    -------
    list of dict
        started, ended, kind and text of each notice; weeks that follow each other are joined.
    """
    rel_sd = max((v.volume_rel_sd for v in station.of_kind("settler")), default=0.0)
    rows: list[dict[str, object]] = []
    for start in range(0, minutes.n, _STRETCH_MIN):
        end = min(start + _STRETCH_MIN, minutes.n)
        found = crossed(minutes, station, start, end, _MIXED) if end - start >= _LEAST_MIN else None
        if found is None or not _is_short(found[0], found[1], rel_sd):
            continue
        row = {"started": minutes.at(start), "ended": minutes.at(end), "kind": "short_way"}
        text = _short_text(*found, _flow(minutes, start, end))
        if rows and rows[-1]["ended"] == row["started"]:
            rows[-1] |= {"ended": row["ended"], "text": text}
        else:
            rows.append({**row, "text": text})
    return rows


def _is_short(found: EffectiveResidence, nominal_m3: float, rel_sd: float) -> bool:
    """Whether the volume is short beyond its own error and that of the described volume."""
    if found.volume_m3 is None or found.low_m3 is None or found.high_m3 is None:
        return False
    error = 0.5 * (found.high_m3 - found.low_m3) / nominal_m3
    ratio = found.volume_m3 / nominal_m3
    return ratio < _SHORT and ratio + math.hypot(error, _Z90 * rel_sd) < 1.0


def _flow(minutes: Minutes, start: int, end: int) -> float:
    flow = minutes.station["flow_feed_m3_h"][start:end][~minutes.stopped[start:end]]
    return float(np.nanmedian(flow)) if np.isfinite(flow).any() else float("nan")


def _short_text(found: EffectiveResidence, nominal_m3: float, flow_m3_h: float) -> str:
    text = (
        f"Swings of pH cross the settler as if juice passed through {found.volume_m3:.0f} m³ "
        f"({found.low_m3:.0f} to {found.high_m3:.0f}) of its {nominal_m3:.0f} m³"
    )
    if math.isfinite(flow_m3_h) and flow_m3_h > 0.0:
        now, usual = (60.0 * v / flow_m3_h for v in (found.volume_m3 or 0.0, nominal_m3))
        text += f": {now:.0f} min instead of a nominal {usual:.0f} min"
    return (
        f"{text}. Juice takes a short way across it, or the described volume is too large. Look at "
        "the feed well, the overflow weirs and mud that has built up."
    )
