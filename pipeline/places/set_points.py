"""Set-points: which measurement each is held against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from pipeline.places.evidence import Seen
from pipeline.places.look import TagLook
from pipeline.places.own_units import has_unit
from pipeline.places.spelling import tokens_of
from pipeline.places.words import MEANINGS, ROLES

#: Spreads of a measurement within which what it is held at lies (estimate).
_WITHIN: Final = 1.0
#: Share of a set-point's steps that its measurement follows, at least.
_FOLLOWED: Final = 0.6


def held_against(
    number: int, seen: Sequence[Seen], measured: Sequence[int]
) -> tuple[int | None, str]:
    """The placed tag that a set-point is for, and what says so; None where nothing does.

    Parameters
    ----------
    number : int
        The set-point.
    seen : sequence of Seen
    measured : sequence of int
        Tags that have a place.
    """
    own = seen[number]
    stem = _stem(own)
    for other in measured:
        if stem and stem == _stem(seen[other]):
            return other, f"named as {seen[other].tag.name} is, but for the set-point"
    best: tuple[float, int] | None = None
    for other in measured:
        fit = _follows(own.tag, seen[other].tag)
        if fit is not None and (best is None or fit > best[0]):
            best = (fit, other)
    if best is None:
        return None, ""
    return best[1], f"{seen[best[1]].tag.name} stays at its level and follows its steps"


def _stem(seen: Seen) -> tuple[str, ...]:
    """Words of a name without those of a role, and without the function letters of the loop."""
    if seen.name.letters:
        return (seen.name.area, seen.name.letters[0], seen.name.loop)
    kept = [t for t in tokens_of(seen.tag.name) if not set(MEANINGS.get(t, ())) & ROLES]
    return tuple(kept) if len(kept) > 1 or any(len(t) > 3 for t in kept) else ()


def _follows(own: TagLook, other: TagLook) -> float | None:
    """How well a measurement stays at a set-point; None where it does not."""
    if has_unit(own) and has_unit(other) and own.unit.strip() != other.unit.strip():
        return None
    axis = np.intersect1d(own.minute, other.minute)
    if len(axis) < 60:
        axis = other.minute
    spot = np.clip(np.searchsorted(own.minute, axis, side="right") - 1, 0, None)
    held = own.value[spot]
    value = other.value[np.searchsorted(other.minute, axis)]
    away = value - held
    spread = float(np.median(np.abs(value - np.median(value)))) or 1e-9
    off = abs(float(np.median(away)))
    tight = float(np.median(np.abs(away)))
    scale = max(1.5 * spread, 0.002 * abs(float(np.median(value))))
    if off > _WITHIN * scale or tight > 2.0 * scale:
        return None
    steps = np.flatnonzero(np.diff(held) != 0.0)
    if len(steps):
        moved = held[-1] - held[0] if len(steps) == 1 else float(np.ptp(held))
        if abs(moved) > 2.0 * spread:
            agree = float(np.corrcoef(held, value)[0, 1]) if held.std() and value.std() else 0.0
            if agree < _FOLLOWED / 2.0:
                return None
            return 10.0 * agree - tight / scale
    return -off / scale
