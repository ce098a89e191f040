"""Numbers as a reader should see them: rounded to what is known, with unit and interval.

Half the interval's width decides. It never shows more than two significant digits (JCGM
100:2008, the GUM, clause 7.2.6; memory) and keeps both when they are small, by the rule of the
Particle Data Group (first three digits 100 to 354: two digits; 355 to 949: one; above: counted
as 1000; memory). Where one digit would leave the value itself with only one, the second is
kept, so that tonnes and money shown side by side still agree. Value and bounds are written to
the same place.
"""

from __future__ import annotations

import math

from pipeline.base import Measured, Said, amount, figure, said

MISSING = said("not computed")
_LARGEST_PLACE = 6
#: Decimal places that plant instruments and laboratories can tell apart (common practice).
_PLACES_OF_UNITS = {"pH": 2, "degC": 1, "°F": 1, "min": 1, "h": 1}
#: Units as they are printed; inside the tool they are plain letters.
_PRINTED = {
    "degC": "°C",
    "times its error": said("times its error"),
    "% of sucrose": said("% of sucrose"),
    "m3": "m³",
    "m2": "m²",
    "m3/h": "m³/h",
    "L/m3": "L/m³",
    "kg/m3": "kg/m³",
}
#: Prices from here on are told in whole units of the currency.
_WHOLE = 100.0
#: Units that a reader may want others for.
_TURNED = frozenset({"degC", "K", "t"})
#: A finding in a stop loses much of next to nothing: the share then says little [%].
_LARGE_SHARE = 5.0


def unit_words(unit: str) -> str:
    """A unit as it is printed: ``°C`` for ``degC``."""
    return _PRINTED.get(unit, unit)


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
    two_digits = 1 if value == 0 else 1 - _decade(round(abs(value), 1 - _decade(value)))
    if low is None or high is None or high == low:
        return _clamped(two_digits)
    half = abs(high - low) / 2
    usual = _error_places(half)
    if abs(value) < half / 2:
        return _clamped(usual)
    finest = 1 - _decade(round(half, 1 - _decade(half)))
    return _clamped(min(finest, max(usual, two_digits)))


def _decade(size: float) -> int:
    return math.floor(math.log10(abs(size)))


def _error_places(half: float) -> int:
    decade = _decade(half)
    # The tiny addition keeps 0.35499999999999998 on the side of 355 it was meant for.
    first_three = math.floor(half * 10.0 ** (2 - decade) + 1e-9)
    if first_three < 355:
        return 1 - decade
    return -decade if first_three < 950 else 1 - (decade + 1)


def _clamped(decimals: int) -> int:
    return max(-_LARGEST_PLACE, min(_LARGEST_PLACE, decimals))


def plain(value: float, decimals: int) -> str:
    """Write `value` with thousands separators, rounded to `decimals` places, never as -0."""
    rounded = round(value, decimals) + 0.0
    return figure(0.0 if rounded == 0 else rounded, f",.{max(0, decimals)}f")


def _span(low: float, high: float, decimals: int) -> str:
    return said("({low} to {high})", low=plain(low, decimals), high=plain(high, decimals))


def quantity(value: object, low: object, high: object, unit: str) -> str:
    """Write a value with its unit and interval, for example ``2.3 t (1.2 to 3.9)``.

    Missing bounds are said, not hidden; a missing value reads ``not computed``.
    """
    middle, bottom, top = known(value), known(low), known(high)
    if middle is None:
        return MISSING
    decimals = places(middle, bottom, top)
    text = said("{value} {unit}", value=plain(middle, decimals), unit=unit_words(unit)).rstrip()
    if bottom is None or top is None:
        text = said("{value} (no interval)", value=text)
    else:
        text = said("{value} {span}", value=text, span=_span(bottom, top, decimals))
    return Said(text, Measured(text, quantity, value, low, high, unit)) if unit in _TURNED else text


def tonnes(value: object, low: object, high: object) -> str:
    """Write tonnes [t] with interval: ``tonnes(2.345, 1.2, 3.9)`` is ``2.3 t (1.2 to 3.9)``."""
    return quantity(value, low, high, "t")


def bare_tonnes(value: object, low: object, high: object) -> str:
    """Write tonnes [t] alone, with the digits their interval allows: ``2.3 t``."""
    return tonnes(value, low, high).split(" (", 1)[0]


def money(value: object, low: object, high: object, currency: str) -> str:
    """Write money with currency code, thousands separators and interval.

    ``money(1219.4, 624, 2028, "USD")`` is ``USD 1,200 (600 to 2,000)``. Never finer than one
    unit of the currency: a loss is not known to the cent.
    """
    middle, bottom, top = known(value), known(low), known(high)
    if middle is None:
        return MISSING
    decimals = min(0, places(middle, bottom, top))
    text = amount(currency, plain(middle, decimals))
    if bottom is None or top is None:
        return said("{value} (no interval)", value=text)
    return said("{value} {span}", value=text, span=_span(bottom, top, decimals))


def price_words(per_t: object, currency: str) -> str:
    """Write a price: ``USD 520 a tonne``, or of a short ton where a reader counts in them.

    Parameters
    ----------
    per_t : object
        Price of a tonne [currency/t].
    currency : str
        Its code.
    """

    def write(value: object, _low: object, _high: object, unit: str) -> str:
        price = known(value)
        if price is None:
            return MISSING
        # A price is known as it is described: it is not rounded as what is estimated by it.
        sum_ = plain(price, 0 if price >= _WHOLE else 2)
        if unit == "1/short ton":
            return said("{amount} a short ton", amount=amount(currency, sum_))
        return said("{amount} a tonne", amount=amount(currency, sum_))

    text = write(per_t, None, None, "1/t")
    return Said(text, Measured(text, write, per_t, None, None, "1/t"))


def percent(value: object) -> str:
    """Write a percentage [%] with two significant digits: ``0.34 %``."""
    middle = known(value)
    if middle is None:
        return MISSING
    return said("{share} %", share=plain(middle, max(0, places(middle, None, None))))


def feed_share(value: object) -> str:
    """Write a loss as a share of the sucrose that came in meanwhile [%]."""
    share = known(value)
    tiny_feed = share is not None and share > _LARGE_SHARE
    return percent(value) + (said(" (hardly any came in)") if tiny_feed else "")


def count(value: object) -> str:
    """Write a whole number with thousands separators."""
    number = known(value)
    return MISSING if number is None else plain(number, 0)


def fact_value(value: object, unit: str) -> str:
    """Write a measured fact with its unit, or nothing.

    Three significant digits, or the decimal places instruments in a mill can tell.
    """
    number = known(value)
    if number is None or isinstance(value, bool):
        return ""
    if unit in _PLACES_OF_UNITS:
        decimals = _PLACES_OF_UNITS[unit]
    else:
        decimals = 0 if number == 0 else max(0, min(_LARGEST_PLACE, 2 - _decade(number)))
    written = plain(number, decimals)
    if "." in written:
        written = figure(str(written).rstrip("0").rstrip("."))
    text = said("{value} {unit}", value=written, unit=unit_words(unit)).rstrip()
    return Said(text, Measured(text, _fact, value, None, None, unit)) if unit in _TURNED else text


def _fact(value: object, _low: object, _high: object, unit: str) -> str:
    """Write a fact as a quantity is written, for other units."""
    return fact_value(value, unit)
