"""Series as SVG paths: extremes by pixel, joined so that no gap shows where there is none."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.words import figure

Values = NDArray[Any]


def strokes(low: Values, high: Values, scale: Scale) -> str:
    """One upright stroke a pixel from its lowest to its highest reading, joined to its neighbour.

    Parameters
    ----------
    low, high : ndarray, shape (width,)
        NaN where nothing was read.
    scale : Scale
    """
    if not np.isfinite(low).any():
        return ""
    before_low, before_high = np.roll(low, 1), np.roll(high, 1)
    before_low[0] = before_high[0] = np.nan
    bottom = scale.y(np.fmin(low, np.where(before_high < low, before_high, low)))
    top = scale.y(np.fmax(high, np.where(before_low > high, before_low, high)))
    # A flat line has no height of its own: a stroke of one pixel shows it.
    thin = bottom - top < 1.2
    middle = 0.5 * (bottom + top)
    bottom = np.where(thin, middle + 0.6, bottom)
    top = np.maximum(np.where(thin, middle - 0.6, top), 0.0)
    kept = np.flatnonzero(np.isfinite(low))
    tops, bottoms = (np.rint(10.0 * y[kept]).astype(int).tolist() for y in (top, bottom))
    words = _tenths(int(10 * scale.height) + 20)
    pairs = zip(kept.tolist(), tops, bottoms, strict=True)
    return "".join([f"M{x} {words[a]}V{words[b]}" for x, a, b in pairs])


@cache
def _tenths(most: int) -> list[str]:
    """Tenths of a pixel as they are written: looked up, for a lane has a thousand of them."""
    return [f"{n / 10:.1f}".removesuffix(".0") for n in range(most)]


def band(low: Values, high: Values, scale: Scale) -> str:
    """Area between two series, by pixel; broken where nothing is known."""
    known = np.isfinite(low) & np.isfinite(high)
    parts = []
    edges = np.diff(np.concatenate(([0], known.astype(int), [0])))
    begins, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    for first, last in zip(begins, ends, strict=True):
        tops = scale.y(high[first:last]).tolist()
        bottoms = scale.y(low[first:last]).tolist()
        over = "".join(f"L{first + i} {y:.1f}H{first + i + 1}" for i, y in enumerate(tops))
        under = "".join(
            f"L{last - i} {y:.1f}H{last - i - 1}" for i, y in enumerate(reversed(bottoms))
        )
        parts.append(f"M{over[1:]}{under}Z")
    return "".join(parts)


class Scale:
    """Values of a lane to pixels, the highest at the top.

    Parameters
    ----------
    low, high : float
        Range shown.
    height : float
        Pixels.
    """

    def __init__(self, low: float, high: float, height: float) -> None:
        self.low, self.high = low, high if high > low else low + 1.0
        self.height = height

    def y(self, values: Values) -> Values:
        """Pixels from the top, kept within the lane; NaN stays."""
        part = (self.high - values) / (self.high - self.low)
        return np.clip(part, 0.0, 1.0) * self.height

    def at(self, value: float) -> float:
        """Pixel of one value."""
        return float(self.y(np.array([value]))[0])

    def levels(self, most: int = 3) -> list[tuple[float, str]]:
        """Round values inside the range, and how they are written."""
        rough = (self.high - self.low) / most
        decade = 10.0 ** math.floor(math.log10(rough))
        unit = next((p for p in (1.0, 2.0, 5.0) if p * decade >= rough), 10.0) * decade
        decimals = max(0, -math.floor(math.log10(unit) + 1e-9))
        first, last = math.ceil(self.low / unit), math.floor(self.high / unit)
        return [(n * unit, figure(n * unit, f",.{decimals}f")) for n in range(first, last + 1)]


def range_of(*series: Values) -> tuple[float, float]:
    """Range of all values shown, with a little air; nothing is cut off."""
    known = np.concatenate([s[np.isfinite(s)].ravel() for s in series]) if series else np.empty(0)
    if not len(known):
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    air = 0.05 * (high - low) or 0.05 * abs(high) or 0.5
    return low - air, high + air
