"""Numbers as a reader should see them: rounded to what is known, with unit and interval.

The interval decides how many digits are shown: half its width keeps two significant digits,
and value and bounds are written to that same place. This is the usual way of quoting a
measured value with its uncertainty (JCGM 100:2008, GUM, clause 7.2.6: at most two significant
digits for an uncertainty, the estimate rounded to match).
"""

from __future__ import annotations

import math

MISSING = "not computed"
_LARGEST_PLACE = 6


def known(value: object) -> float | None:
    """Give `value` as a finite float, or None when it is missing, NaN, infinite or no number."""
    if not isinstance(value, int | float):
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def places(value: float, low: float | None, high: float | None) -> int:
    """Decimal places worth showing; negative means tens, hundreds, ...

    Parameters
    ----------
    value : float
        Central value, any unit.
    low, high : float or None
        Bounds of the interval, same unit. Without both, two significant digits of `value`
        are kept.

    Returns
    -------
    int
        Between -6 and 6, for use with :func:`round`.
    """
    half = 0.0 if low is None or high is None else abs(high - low) / 2
    size = half or abs(value)
    if size <= 0:
        return 1
    wanted = 1 - math.floor(math.log10(size))
    # 0.0996 would be shown as 0.10 with three decimals: rounding can lift it a decade.
    if round(size, wanted) >= 10 ** (math.floor(math.log10(size)) + 1):
        wanted -= 1
    return max(-_LARGEST_PLACE, min(_LARGEST_PLACE, wanted))


def plain(value: float, decimals: int) -> str:
    """Write `value` with thousands separators, rounded to `decimals` places, never as -0."""
    rounded = round(value, decimals) + 0.0
    return f"{0.0 if rounded == 0 else rounded:,.{max(0, decimals)}f}"


def _span(low: float, high: float, decimals: int) -> str:
    return f"({plain(low, decimals)} to {plain(high, decimals)})"


def quantity(value: object, low: object, high: object, unit: str) -> str:
    """Write a value with its unit and interval, for example ``2.3 t (1.2 to 3.9)``.

    Missing bounds are said, not hidden; a missing value reads ``not computed``.
    """
    middle, bottom, top = known(value), known(low), known(high)
    if middle is None:
        return MISSING
    decimals = places(middle, bottom, top)
    text = f"{plain(middle, decimals)} {unit}".rstrip()
    if bottom is None or top is None:
        return f"{text} (no interval)"
    return f"{text} {_span(bottom, top, decimals)}"


def tonnes(value: object, low: object, high: object) -> str:
    """Write tonnes [t] with interval: ``tonnes(2.345, 1.2, 3.9)`` is ``2.3 t (1.2 to 3.9)``."""
    return quantity(value, low, high, "t")


def bare_tonnes(value: object, low: object, high: object) -> str:
    """Write tonnes [t] alone, with the digits their interval allows: ``2.3 t``."""
    return tonnes(value, low, high).split(" (", 1)[0]


def money(value: object, low: object, high: object, currency: str) -> str:
    """Write money with currency code, thousands separators and interval.

    ``money(1219.4, 624, 2028, "USD")`` is ``USD 1,220 (620 to 2,030)``. Never finer than one
    unit of the currency: a loss is not known to the cent.
    """
    middle, bottom, top = known(value), known(low), known(high)
    if middle is None:
        return MISSING
    decimals = min(0, places(middle, bottom, top))
    text = f"{currency} {plain(middle, decimals)}".lstrip()
    if bottom is None or top is None:
        return f"{text} (no interval)"
    return f"{text} {_span(bottom, top, decimals)}"


def percent(value: object) -> str:
    """Write a percentage [%] with two significant digits: ``0.34 %``."""
    middle = known(value)
    if middle is None:
        return MISSING
    return f"{plain(middle, max(0, places(middle, None, None)))} %"


def count(value: object) -> str:
    """Write a whole number with thousands separators."""
    number = known(value)
    return MISSING if number is None else plain(number, 0)


def fact_value(value: object, unit: str) -> str:
    """Write a measured fact with three significant digits and its unit, or nothing."""
    number = known(value)
    if number is None or isinstance(value, bool):
        return ""
    size = abs(number)
    decimals = 1 if size == 0 else max(0, min(_LARGEST_PLACE, 2 - math.floor(math.log10(size))))
    return f"{plain(number, decimals)} {unit}".rstrip()
