"""What part of a finding's loss rests on formulas carried on beyond their stated range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from features.kinetics import INVERSION, RANGES, Range
from models.base import Array, Minutes
from models.cause.episode import fact

#: Less of a loss than this is not worth a line [-] (judgement).
_LEAST_SHARE = 0.01


def extrapolation_facts(
    minutes: Minutes, loss_kg_h: Mapping[str, Array], zones: Sequence[str], bounds: tuple[int, int]
) -> list[dict[str, object]]:
    """Lines of evidence: share of the loss outside the ranges of the inversion kinetics.

    Parameters
    ----------
    minutes : Minutes
    loss_kg_h : mapping of str to ndarray, shape (n,)
        Loss by zone [kg/h].
    zones : sequence of str
        Zones that the finding speaks of.
    bounds : (start, end)
        Its minutes.

    Returns
    -------
    list of dict
        One fact for each input (temperature, pH) outside for at least 1 % of the loss.
    """
    part = slice(*bounds)
    held = [z for z in zones if z in minutes.zones and z in loss_kg_h]
    total = sum(float(np.nansum(loss_kg_h[z][part])) for z in held)
    if total <= 0.0:
        return []
    facts = []
    for one in (r for r in RANGES if r.formula == INVERSION):
        outside = {z: _outside(one, minutes.zones[z][one.column][part]) for z in held}
        beyond = sum(float(np.nansum(loss_kg_h[z][part][outside[z]])) for z in held)
        if beyond >= _LEAST_SHARE * total:
            seen = np.concatenate([minutes.zones[z][one.column][part][outside[z]] for z in held])
            share = round(100.0 * beyond / total)
            facts.append(fact(_words(one, seen, share), share, "%"))
    return facts


def _outside(one: Range, values: Array) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        return np.asarray(one.beyond(values), dtype=np.bool_)


def _words(one: Range, seen: Array, share_pct: int) -> str:
    unit = f" {one.unit}".rstrip()
    met = f"{np.min(seen):.3g} to {np.max(seen):.3g}{unit}"
    return (
        f"{share_pct} % of its loss was made at a {one.what} of {met}, outside the "
        f"{one.low:g} to {one.high:g}{unit} for which the kinetics are stated: a rougher guess"
    )
