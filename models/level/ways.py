"""What a parcel of juice went through between the feed and a sampling point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from features.base import Station
from models.amount import ProbeBias
from models.base import Array, Minutes


@dataclass(frozen=True)
class Way:
    """The way of k parcels down to one point.

    Attributes
    ----------
    inverted_pct : dict of str to ndarray, shape (k,)
        Inverted in each zone at multiplier 1 [% of sucrose].
    destroyed : ndarray, shape (k,)
        Share of the reducing sugars destroyed on the way [-].
    fed_min : ndarray, shape (k,)
        When the parcel was fed [min since the first minute].
    """

    inverted_pct: dict[str, Array]
    destroyed: Array
    fed_min: Array


class Ways:
    """Follows parcels backwards through the train.

    A parcel's stay in a vessel is the mean residence told where it left; it is taken to have met
    the vessel's mean rate all that time. Zones side by side are averaged.

    Parameters
    ----------
    minutes : Minutes
    station : Station
    biases : mapping of str to ProbeBias
        pH probes, by point; the rates are put right by them.
    """

    def __init__(self, minutes: Minutes, station: Station, biases: Mapping[str, ProbeBias]) -> None:
        self._minutes, self._station = minutes, station
        limed, clear = (
            biases[name].bias if name in biases else np.zeros(minutes.n)
            for name in ("limed", "clear")
        )
        ratio = station.kinetics.rs_per_sucrose_pct / 100.0
        self._running: dict[str, tuple[Array, Array, Array]] = {}
        for zone, col in minutes.zones.items():
            wrong = col["w_ph_limed"] * limed + col["w_ph_clear"] * clear
            held = np.maximum(col["sucrose_held_kg"] * ratio, 1e-6)
            self._running[zone] = (
                _total(col["inversion_1_h"] * 10.0**wrong),
                _total(col["rs_destroyed_kg_h"] / held),
                _filled(col["residence_min"]),
            )

    def groups(self, step: int) -> list[list[str]]:
        """Zones that juice has passed behind a step of the train, in flow order."""
        return [
            [v.name for v in group if v.name in self._minutes.zones]
            for group in self._station.in_flow_order
            if group[0].step <= step
        ]

    def back(self, groups: Sequence[Sequence[str]], at_min: Array) -> Way:
        """Follow parcels that leave the last of some zones.

        Parameters
        ----------
        groups : sequence of sequence of str
            Zones passed, in flow order; those of one group side by side.
        at_min : ndarray, shape (k,)
            When they leave [min since the first minute].
        """
        now, axis = at_min.astype(float), np.arange(self._minutes.n)
        edges = np.arange(self._minutes.n + 1, dtype=float)
        inverted: dict[str, Array] = {}
        destroyed = np.zeros(len(now))
        for zones in reversed([list(g) for g in groups if g]):
            stays = [np.interp(now, axis, self._running[zone][2]) for zone in zones]
            stay = np.maximum(np.mean(stays, axis=0), 1e-6)
            since = np.maximum(now - stay, 0.0)
            known = np.maximum(now - since, 1e-6)
            for zone in zones:
                inversion, reducing, _ = self._running[zone]
                # The rate before the first minute is taken to be that after it.
                of_zone = stay / known / 60.0 / len(zones)
                inverted[zone] = 100.0 * of_zone * _between(inversion, edges, since, now)
                destroyed = destroyed + of_zone * _between(reducing, edges, since, now)
            now = now - stay
        return Way(inverted, np.minimum(destroyed, 0.9), now)


def _between(total: Array, edges: Array, first: Array, last: Array) -> Array:
    return np.interp(last, edges, total) - np.interp(first, edges, total)


def _total(rate: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(_filled(rate))])


def _filled(values: Array) -> Array:
    """The season's median where a value is not known."""
    known = np.isfinite(values)
    if known.all():
        return values
    return np.where(known, values, np.median(values[known]) if known.any() else 0.0)
