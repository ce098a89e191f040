"""Small bars inside tables: as inline SVG, so that they print and mail like the charts do.

A bar is full where findings account for a loss and hatched where none does; length and pattern say
it without colour.
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


def bar(value: float, longest: float, *, hatched: bool = False) -> Markup:
    """Bar of a value; nothing for a value that is not positive.

    Parameters
    ----------
    value, longest : float
        The value, and the one that takes the whole width; same unit.
    hatched : bool
        Hatched rather than full.
    """
    length = 0.0 if longest <= 0 else max(0.0, min(1.0, value / longest)) * (_WIDTH - 1)
    fill = "url(#hatch)" if hatched else "#4a4a4a"
    if length <= 0:
        return Markup("")
    drawn = (
        f'<rect x="0.5" y="0.5" width="{length:.1f}" height="{_HEIGHT - 1:.0f}" fill="{fill}" '
        'stroke="#1c1c1c" stroke-width="1"/>'
    )
    return Markup(
        f'<svg class="bar" width="{_WIDTH:.0f}" height="{_HEIGHT:.0f}" '
        f'viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" preserveAspectRatio="xMinYMid meet" '
        f'aria-hidden="true">{drawn}</svg>'
    )
