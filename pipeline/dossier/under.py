"""Another period laid under the lanes of one, both from their own beginning on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from models.base import Array
from pipeline.base import Window
from pipeline.dossier.drawable import drawable_lanes
from pipeline.dossier.gather import Material, gather
from pipeline.dossier.lanes import Lane, Line
from pipeline.words import said

_NAME: Final = said("the other period")


def laid_under(material: Material, lanes: Sequence[Lane], other: Window) -> list[Lane]:
    """Lanes with the readings of another period under them.

    Parameters
    ----------
    material : Material
        Of the period drawn.
    lanes : sequence of Lane
    other : Window
        It begins where the period drawn begins; what is known around it is drawn, too.
    """
    finding = dict(material.finding) | {"started": other.start, "ended": other.end}
    theirs = gather(material.mill, finding)
    by_key = {lane.key: lane for lane in drawable_lanes(theirs) if lane.lines}
    shift = theirs.index_of(other.start) - material.index_of(material.finding["started"])
    rows = (material.index_of(material.drawn[0]), material.index_of(material.drawn[1]))
    return [_with(lane, by_key.get(lane.key), shift, rows) for lane in lanes]


def _with(lane: Lane, other: Lane | None, shift: int, rows: tuple[int, int]) -> Lane:
    if other is None or not lane.lines:
        return lane
    n = len(lane.lines[0].values)
    values = _moved(other.lines[0].values, shift, rows, n)
    if not np.isfinite(values).any():
        return lane
    delay = np.nan_to_num(_moved(other.delay_min, shift, rows, n))
    return replace(lane, lines=(*lane.lines, Line(_NAME, values, "under", delay)))


def _moved(values: Array, shift: int, rows: tuple[int, int], n: int) -> Array:
    """Values of the other period on the rows of this one; NaN outside of what is drawn."""
    out = np.full(n, np.nan)
    at = np.arange(*rows)
    inside = (at + shift >= 0) & (at + shift < len(values))
    out[at[inside]] = values[at[inside] + shift]
    return out
