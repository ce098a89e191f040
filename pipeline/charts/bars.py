"""Small bars inside tables: as inline SVG, so that they print and mail like the charts do.

A bar is full where findings account for a loss, hatched where none does, and open where the station
did better than at its targets; length, side and pattern say it without colour.
"""

from __future__ import annotations

from markupsafe import Markup

_WIDTH, _HEIGHT = 120.0, 11.0


def hatch() -> Markup:
    """Definition of the hatching; it must stand once on a page that hatches bars."""
    return Markup(
        '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
        '<pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="5" height="5" fill="#fff"/>'
        '<rect width="1.6" height="5" fill="#1c1c1c"/></pattern></defs></svg>'
    )


def bar(value: float, longest: float, *, hatched: bool = False, least: float = 0.0) -> Markup:
    """Bar of a value, from a line at zero to the right; below zero open and to the left.

    Parameters
    ----------
    value, longest : float
        The value, and the one that takes the whole width right of zero; same unit.
    hatched : bool
        Hatched rather than full.
    least : float
        The smallest value of the same scale, where some lie below zero: room is left for it.
    """
    low = min(least, 0.0)
    span = max(longest, 0.0) - low
    if span <= 0 or (value <= 0 and low == 0.0):
        return Markup("")
    scale = (_WIDTH - 1) / span
    zero = 0.5 - low * scale
    length = max(-zero + 0.5, min(_WIDTH - 0.5 - zero, value * scale))
    fill = ("url(#hatch)" if hatched else "#4a4a4a") if value > 0 else "#fff"
    drawn = (
        f'<rect x="{zero + min(length, 0.0):.1f}" y="0.5" width="{abs(length):.1f}" '
        f'height="{_HEIGHT - 1:.0f}" fill="{fill}" stroke="#1c1c1c" stroke-width="1"/>'
    )
    if low < 0.0:
        drawn += (
            f'<line x1="{zero:.1f}" x2="{zero:.1f}" y1="0" y2="{_HEIGHT:.0f}" stroke="#1c1c1c"/>'
        )
    return Markup(
        f'<svg class="bar" width="{_WIDTH:.0f}" height="{_HEIGHT:.0f}" '
        f'viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" preserveAspectRatio="xMinYMid meet" '
        f'aria-hidden="true">{drawn}</svg>'
    )
