"""What is followed around a period: every tag, doses per juice, and probes against the laboratory.

A dose by itself follows the juice, so that lime that is cut hides behind a feed that falls; what
the juice gets is lime per juice. A pH probe that drifts holds its own reading still, for the loop
obeys it: what moves is its error against the laboratory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from features.base import Signal, Station
from features.flow import probe_signal
from models.account.order import on_parcel_time
from models.account.travel import CARRIED, Way, delay_min, ways
from models.base import Array, Minutes

#: Quantities of what is worked out from several tags.
LIME_PER_JUICE = "lime_per_juice"
FLOCCULANT_PER_JUICE = "flocculant_per_juice"
PROBE_ERROR = "probe_error"
#: Smallest change that an instrument of its kind can tell, inside units (common practice; of doses
#: per juice a twentieth of a usual dose).
LEAST_CHANGE: Mapping[str, float] = {
    "ph": 0.05, "temperature": 0.5, "level": 2.0, "mud_level": 2.0, "flow": 1.0, "brix": 0.1,
    "steam_pressure": 2.0, "cane_rate": 1.0, "imbibition_flow": 0.5, "turbidity": 1.0,
    PROBE_ERROR: 0.08,
}  # fmt: skip
_LEAST_DOSE = 0.05
#: Below this share of its usual flow juice gets no dose worth the name.
_LEAST_FLOW = 0.2
_BEFORE = {"mill": -3.0, "filtrate": -2.0, "mixed_juice": -1.0}
_PORTS = {"in": 0.1, "": 0.3, "inside": 0.4, "mud": 0.5, "out": 0.6}


@dataclass(frozen=True)
class Tracked:
    """One signal, or one number made of several.

    Attributes
    ----------
    key : str
        Unique name.
    tags : tuple of str
        Tags behind it (untrusted text), the telling one first.
    quantity, place, port : str
        As of a signal; also `LIME_PER_JUICE`, `FLOCCULANT_PER_JUICE` and `PROBE_ERROR`.
    position : float
        Where along the flow: lower is further upstream.
    by_clock, by_parcel : ndarray, shape (n,)
        Values by minute, on either time; NaN where missing.
    delay_min : ndarray, shape (n,)
        Travel time to it by minute of the clock [min]; zeros for what stays on the clock.
    least : float
        Smallest change that can be told [its unit].
    """

    key: str
    tags: tuple[str, ...]
    quantity: str
    place: str
    port: str
    position: float
    by_clock: Array
    by_parcel: Array
    delay_min: Array
    least: float

    @property
    def travel_min(self) -> float:
        """Typical travel time to it [min]."""
        return float(np.median(self.delay_min))

    def seen_at(self, entered_min: float) -> float:
        """Minute of the clock at which the juice that entered at one was seen here."""
        clock = np.arange(len(self.delay_min), dtype=float)
        entered = np.maximum.accumulate(clock - self.delay_min)
        return float(np.interp(entered_min, entered + 1e-9 * clock, clock))


def tracked_signals(
    columns: Mapping[str, Array],
    minutes: Minutes,
    biases: Mapping[str, Array],
    station: Station,
) -> list[Tracked]:
    """Everything that is followed, in the order in which the juice flows.

    Parameters
    ----------
    columns : mapping of str to ndarray, each shape (n,)
        Readings by minute and by the name of their signal (`features.base.Signal.name`).
    minutes : Minutes
        The same minutes, derived.
    biases : mapping of str to ndarray, each shape (n,)
        Reading minus truth of the probes ``limed`` and ``clear`` [pH].
    station : Station

    Returns
    -------
    list of Tracked
        Without second instruments, and without what was never read.
    """
    known = ways(minutes, station)
    steps = {v.name: float(v.step) for v in station.vessels}
    found = [
        _of_signal(signal, columns[signal.name], known, steps)
        for signal in station.signals
        if not signal.beside and signal.name in columns
    ]
    found += _doses(columns, station, known, steps)
    for point in ("limed", "clear"):
        probe = probe_signal(station, point)
        if probe is not None and point in biases:
            error = _of_signal(probe, biases[point], known, steps, PROBE_ERROR)
            found.append(error)
    found = [t for t in found if np.isfinite(t.by_clock).any()]
    return sorted(found, key=lambda t: (t.position, t.key))


def _of_signal(
    signal: Signal,
    values: Array,
    known: Mapping[tuple[str, str], Way],
    steps: Mapping[str, float],
    quantity: str = "",
) -> Tracked:
    quantity = quantity or signal.quantity
    delay = delay_min(signal, known, len(values))
    place = steps.get(signal.place, _BEFORE.get(signal.place, 99.0))
    return Tracked(
        key=signal.name if quantity == signal.quantity else f"{quantity}_{signal.name}",
        tags=(signal.tag,),
        quantity=quantity,
        place=signal.place,
        port=signal.port,
        position=place + _PORTS[signal.port],
        by_clock=values,
        by_parcel=on_parcel_time(values, delay) if signal.quantity in CARRIED else values,
        delay_min=delay,
        least=LEAST_CHANGE.get(quantity, 0.0),
    )


def _doses(
    columns: Mapping[str, Array],
    station: Station,
    known: Mapping[tuple[str, str], Way],
    steps: Mapping[str, float],
) -> list[Tracked]:
    """Milk of lime and flocculant per juice [L/m3], on the time of the juice that got them."""
    found = []
    for dose, name in (
        ("lime_flow", LIME_PER_JUICE),
        ("flocculant_flow", FLOCCULANT_PER_JUICE),
    ):
        signal = next(
            (
                s
                for s in station.signals
                if s.quantity == dose and not s.beside and s.name in columns
            ),
            None,
        )
        juice = _juice_of(station, columns, signal) if signal is not None else None
        if signal is None or juice is None:
            continue
        flow = columns[juice.name]
        usual = float(np.nanmedian(flow)) if np.isfinite(flow).any() else np.nan
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.where(flow > _LEAST_FLOW * usual, columns[signal.name] / flow, np.nan)
        delay = delay_min(signal, known, len(ratio))
        level = float(np.nanmedian(ratio)) if np.isfinite(ratio).any() else 0.0
        found.append(
            Tracked(
                key=name,
                tags=(signal.tag, juice.tag),
                quantity=name,
                place=signal.place,
                port=signal.port,
                # Before the tag it is made of: it says what that tag means.
                position=steps.get(signal.place, 99.0) + _PORTS[signal.port] - 0.05,
                by_clock=ratio,
                by_parcel=on_parcel_time(ratio, delay),
                delay_min=delay,
                least=_LEAST_DOSE * abs(level),
            )
        )
    return found


def _juice_of(station: Station, columns: Mapping[str, Array], dose: Signal | None) -> Signal | None:
    """Meter of the juice that a dose goes into: its vessel's own, else that of mixed juice."""
    if dose is None:
        return None
    places = ((dose.place, "in"), ("mixed_juice", ""), (dose.place, "out"))
    meters = {
        (s.place, s.port): s
        for s in station.signals
        if s.quantity == "flow" and not s.beside and s.name in columns
    }
    own = [meters[place] for place in places if place in meters]
    rest = [s for (place, port), s in meters.items() if port != "mud" and place != "filtrate"]
    return next(iter(own or rest), None)
