"""Answers to what standing costs and which limed pH costs least, for a person to read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from features.advice import LONGEST_H, TENTH_PCT, USUAL_PH, Cost, Juice, Prices, Setpoint, Standing
from features.kinetics import Estimate
from pipeline.cli.calculators import Known
from pipeline.cli.tables import Column, show_table
from pipeline.cli.terminal import say
from pipeline.mill import Mill
from pipeline.words import figure, joined, money, plain, quantity, said, stored

_MOST_ROWS: Final = 24
#: A period of pH this wide in which the cost hardly differs is worth calling flat.
_FLAT_PH: Final = 0.3
_MICROBES_BELOW_DEGC: Final = 80.0
#: Limed pH shown in the table.
_TABLE_PH: Final = (7.0, 8.4)


def show_standing(standing: Standing, juice: Juice, known: Known) -> None:
    """Tell in a sentence what is lost, then hour by hour, then what to beware of."""
    end, start = standing.end, standing.moments[0]
    say(
        said(
            "About {lost} is lost in {hours} h.",
            lost=_of_sucrose(end.lost_pct),
            hours=figure(end.hours, "g"),
        ),
        style="bold",
    )
    say(_tenth(standing.hours_to_tenth_pct))
    basis = (
        said("as of a cooled sample")
        if juice.basis == "cold"
        else said("at the juice's own temperature")
    )
    say(
        said(
            "pH {start} becomes {end}, {basis}.",
            start=plain(start.ph.value, 2),
            end=_ph(end.ph),
            basis=basis,
        )
    )
    _standing_table(standing)
    say(said("Lost and made are % of the sucrose at the start; intervals hold 90 %."))
    _say_kinetics(known)
    for beyond in standing.beyond:
        say(
            said(
                "Beyond the kinetics: {beyond}. Take the figures as a rough guide.",
                beyond=stored(beyond),
            )
        )
    if end.temp_degc < _MICROBES_BELOW_DEGC:
        say(said("Below about 80 °C microbes may take far more than this; it is not counted here."))
    _caution(
        said(
            "Draining, reheating or liming a standing vessel is for trained and licensed people "
            "under site procedures and local codes."
        )
    )


def _tenth(hours: float | None) -> str:
    """Say how soon a tenth of a percent is lost, in minutes below an hour."""
    share = figure(TENTH_PCT, "g")
    if hours is None:
        days = figure(LONGEST_H / 24, "g")
        return said("{share} % is not lost within {days} days.", share=share, days=days)
    if hours < 1.0:
        minutes = figure(max(hours * 60.0, 1.0), ".0f")
        return said("{share} % is lost after about {minutes} min.", share=share, minutes=minutes)
    long = plain(hours, 1 if hours < 48.0 else 0)
    return said("{share} % is lost after about {hours} h.", share=share, hours=long)


def _standing_table(standing: Standing) -> None:
    names = (
        "[h]",
        "[°C]",
        "pH",
        said("Sucrose lost [%]"),
        said("Reducing sugars made [%]"),
    )
    moments = standing.moments
    every = math.ceil((len(moments) - 1) / _MOST_ROWS)
    shown = [*moments[:-1:every], moments[-1]]
    rows = [
        (
            figure(moment.hours, "g"),
            figure(moment.temp_degc, ".1f"),
            figure(moment.ph.value, ".2f"),
            _of(moment.lost_pct),
            _of(moment.rs_made_pct),
        )
        for moment in shown
    ]
    show_table([Column(name, "right") for name in names], rows, said("Hour by hour"))


def show_setpoint(mill: Mill, advice: Setpoint, prices: Prices, known: Known) -> None:
    """Tell the best limed pH, how much it matters, the curve, and what to beware of."""
    low, high = advice.advised
    say(
        said(
            "Limed juice costs least at pH {low} to {high} of what settles well, cooled sample; "
            "the target is {target}.",
            low=figure(low, ".1f"),
            high=figure(high, ".1f"),
            target=figure(mill.station.targets.ph_limed, "g"),
        ),
        style="bold",
    )
    say(
        said(
            "It settles well at {low} to {high} (common practice). By inversion, destroyed sugars "
            "and lime alone the least would lie near {best}, 90 % interval.",
            low=figure(USUAL_PH[0], "g"),
            high=figure(USUAL_PH[1], "g"),
            best=_ph(advice.best_ph),
        )
    )
    for line in _judgement(mill, advice):
        say(line)
    _cost_table(advice.curve, mill.currency)
    say(said("All at target feed, temperatures and levels; clear pH moves with limed pH."))
    _say_kinetics(known)
    for what, price, named in (
        (
            said("Reducing sugars destroyed"),
            prices.reducing_sugar,
            mill.prices.reducing_sugar_per_t,
        ),
        (said("Lime as CaO"), prices.lime, mill.prices.lime_per_t),
    ):
        origin = (
            said("estimate, none is described under [prices]")
            if named is None
            else said("as described")
        )
        say(
            said(
                "{what}: {currency} {price} a tonne ({origin}).",
                what=what,
                currency=mill.currency,
                price=figure(price, ",.0f"),
                origin=origin,
            )
        )
    say(
        said(
            "Colour is counted as far as destroyed sugars make it, settling as a limit. Scale in "
            "the evaporators has no price here: it grows with lime and speaks for the lower end."
        )
    )
    say(said("What each step of pH would have saved this season: lostpol levers."))
    _caution(
        said(
            "Set-points are changed by licensed and authorised people under site procedures and "
            "local codes."
        )
    )


def _judgement(mill: Mill, advice: Setpoint) -> list[str]:
    """Say how flat the curve is, and what the target costs beside the best."""
    low, high = advice.flat
    flat = said(
        "Between {low} and {high} the cost differs by less than {within} a day",
        low=figure(low, ".2f"),
        high=figure(high, ".2f"),
        within=money(advice.flat_within, None, None, mill.currency).split(" (", 1)[0],
    )
    is_flat = high - low >= _FLAT_PH
    lines = [
        said("{flat}: the curve is flat there.", flat=flat) if is_flat else joined("", (flat, "."))
    ]
    saving = advice.saving
    more = money(saving.value, saving.low, saving.high, mill.currency)
    lines.append(
        said("The target costs {more} a day more than the best, 90 % interval.", more=more)
    )
    if saving.low <= 0.0:
        lines.append(
            said(
                "As far as is known it may cost less as well: nothing here speaks for changing it."
            )
        )
    if advice.at_edge:
        lines.append(said("The best lies at the end of the range worked out; it may lie beyond."))
    best = advice.best_ph.value
    if not USUAL_PH[0] <= best <= USUAL_PH[1]:
        lines.append(
            said(
                "Outside {low} to {high} (common practice) juice settles badly, which is not in "
                "the cost.",
                low=figure(USUAL_PH[0]),
                high=figure(USUAL_PH[1]),
            )
        )
    return lines


def _cost_table(curve: Sequence[Cost], currency: str) -> None:
    """Costs from the least to the most pH in use."""
    names = (
        said("Limed pH"),
        said("Clear pH"),
        said("Total"),
        said("Sucrose inverted"),
        said("Sugars destroyed"),
        said("Lime"),
    )
    rows = []
    for cost in (c for c in curve if _TABLE_PH[0] <= round(c.ph_limed, 2) <= _TABLE_PH[1]):
        parts = (cost.total, cost.inversion, cost.reducing_sugar, cost.lime)
        told = (money(p.value, p.low, p.high, "").replace(" (", "\n(") for p in parts)
        rows.append((figure(cost.ph_limed, ".1f"), figure(cost.ph_clear, ".2f"), *told))
    title = said("Cost by limed pH [{currency} a day], 90 % intervals", currency=currency)
    show_table([Column(name, "right") for name in names], rows, title, lines=True)


def _say_kinetics(known: Known) -> None:
    kinetics = known.prior.kinetics
    spread = math.exp(1.645 * kinetics.multiplier_log_sd)
    level = quantity(
        kinetics.multiplier, kinetics.multiplier / spread, kinetics.multiplier * spread, ""
    )
    say(
        said(
            "Factor on the published rate {level}, {origin}. Intervals also hold the pH slope "
            "({slope} with standard error {error} per K), the destruction of reducing sugars and "
            "the juice's buffer.",
            level=level,
            origin=known.words,
            slope=figure(kinetics.ph_slope, "g"),
            error=figure(kinetics.ph_slope_sd, "g"),
        )
    )


def _caution(rest: str) -> None:
    say(
        said(
            "lostpol only advises. Hot juice and steam scald, lime burns, settlers and tanks are "
            "confined spaces. {rest}",
            rest=rest,
        ),
        style="bold",
    )


def _of(number: Estimate) -> str:
    """Value and interval, without a unit."""
    if number.low == number.high:
        return figure(number.value, ".3g")
    return quantity(number.value, number.low, number.high, "")


def _of_sucrose(number: Estimate) -> str:
    """Share of the sucrose, with its interval."""
    if number.low == number.high:
        return said("{value} %", value=figure(number.value, ".3g"))
    value, span = quantity(number.value, number.low, number.high, "").split(" (", 1)
    return said("{value} % of the sucrose ({span} %)", value=value, span=span.removesuffix(")"))


def _ph(number: Estimate) -> str:
    return said(
        "{value} ({low} to {high})",
        value=figure(number.value, ".2f"),
        low=figure(number.low, ".2f"),
        high=figure(number.high, ".2f"),
    )
