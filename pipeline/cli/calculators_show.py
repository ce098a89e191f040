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
from pipeline.words import money, plain, quantity

_MOST_ROWS: Final = 24
#: A period of pH this wide in which the cost hardly differs is worth calling flat.
_FLAT_PH: Final = 0.3
_MICROBES_BELOW_DEGC: Final = 80.0
#: Limed pH shown in the table.
_TABLE_PH: Final = (7.0, 8.4)


def show_standing(standing: Standing, juice: Juice, known: Known) -> None:
    """Tell in a sentence what is lost, then hour by hour, then what to beware of."""
    end, start = standing.end, standing.moments[0]
    lost = _of(end.lost_pct, "%", "% of the sucrose")
    say(f"About {lost} is lost in {end.hours:g} h.", style="bold")
    soon = standing.hours_to_tenth_pct
    tenth = f"{TENTH_PCT:g} % is "
    say(tenth + (f"not lost within {LONGEST_H / 24:g} days." if soon is None else _after(soon)))
    basis = "as of a cooled sample" if juice.basis == "cold" else "at the juice's own temperature"
    say(f"pH {plain(start.ph.value, 2)} becomes {_ph(end.ph)}, {basis}.")
    _standing_table(standing)
    say("Lost and made are % of the sucrose at the start; intervals hold 90 %.")
    _say_kinetics(known)
    for beyond in standing.beyond:
        say(f"Beyond the kinetics: {beyond}. Take the figures as a rough guide.")
    if end.temp_degc < _MICROBES_BELOW_DEGC:
        say("Below about 80 °C microbes may take far more than this; it is not counted here.")
    _caution(
        "Draining, reheating or liming a standing vessel is for trained and licensed people under "
        "site procedures and local codes."
    )


def _after(hours: float) -> str:
    """Say how soon, in minutes below an hour."""
    if hours < 1.0:
        return f"lost after about {max(hours * 60.0, 1.0):.0f} min."
    return f"lost after about {plain(hours, 1 if hours < 48.0 else 0)} h."


def _standing_table(standing: Standing) -> None:
    names = ("[h]", "[°C]", "pH", "Sucrose lost [%]", "Reducing sugars made [%]")
    moments = standing.moments
    every = math.ceil((len(moments) - 1) / _MOST_ROWS)
    shown = [*moments[:-1:every], moments[-1]]
    rows = [
        (
            f"{moment.hours:g}",
            f"{moment.temp_degc:.1f}",
            f"{moment.ph.value:.2f}",
            _of(moment.lost_pct, "", ""),
            _of(moment.rs_made_pct, "", ""),
        )
        for moment in shown
    ]
    show_table([Column(name, "right") for name in names], rows, "Hour by hour")


def show_setpoint(mill: Mill, advice: Setpoint, prices: Prices, known: Known) -> None:
    """Tell the best limed pH, how much it matters, the curve, and what to beware of."""
    target = mill.station.targets.ph_limed
    low, high = advice.advised
    say(
        f"Limed juice costs least at pH {low:.1f} to {high:.1f} of what settles well, cooled "
        f"sample; the target is {target:g}.",
        style="bold",
    )
    say(
        f"It settles well at {USUAL_PH[0]:g} to {USUAL_PH[1]:g} (common practice). By inversion, "
        f"destroyed sugars and lime alone the least would lie near {_ph(advice.best_ph)}, 90 % "
        "interval."
    )
    for line in _judgement(mill, advice):
        say(line)
    _cost_table(advice.curve, mill.currency)
    say("All at target feed, temperatures and levels; clear pH moves with limed pH.")
    _say_kinetics(known)
    for what, price, named in (
        ("Reducing sugars destroyed", prices.reducing_sugar, mill.prices.reducing_sugar_per_t),
        ("Lime as CaO", prices.lime, mill.prices.lime_per_t),
    ):
        origin = "estimate, none is described under [prices]" if named is None else "as described"
        say(f"{what}: {mill.currency} {price:,.0f} a tonne ({origin}).")
    say(
        "Colour is counted as far as destroyed sugars make it, settling as a limit. Scale in the "
        "evaporators has no price here: it grows with lime and speaks for the lower end."
    )
    say("What each step of pH would have saved this season: lostpol levers.")
    _caution(
        "Set-points are changed by licensed and authorised people under site procedures and local "
        "codes."
    )


def _judgement(mill: Mill, advice: Setpoint) -> list[str]:
    """Say how flat the curve is, and what the target costs beside the best."""
    low, high = advice.flat
    within = money(advice.flat_within, None, None, mill.currency).removesuffix(" (no interval)")
    flat = f"Between {low:.2f} and {high:.2f} the cost differs by less than {within} a day"
    lines = [flat + (": the curve is flat there." if high - low >= _FLAT_PH else ".")]
    saving = advice.saving
    more = money(saving.value, saving.low, saving.high, mill.currency)
    lines.append(f"The target costs {more} a day more than the best, 90 % interval.")
    if saving.low <= 0.0:
        lines.append(
            "As far as is known it may cost less as well: nothing here speaks for changing it."
        )
    if advice.at_edge:
        lines.append("The best lies at the end of the range worked out; it may lie beyond.")
    best = advice.best_ph.value
    if not USUAL_PH[0] <= best <= USUAL_PH[1]:
        lines.append(
            f"Outside {USUAL_PH[0]} to {USUAL_PH[1]} (common practice) juice settles badly, which "
            "is not in the cost."
        )
    return lines


def _cost_table(curve: Sequence[Cost], currency: str) -> None:
    """Costs from the least to the most pH in use."""
    names = ("Limed pH", "Clear pH", "Total", "Sucrose inverted", "Sugars destroyed", "Lime")
    rows = []
    for cost in (c for c in curve if _TABLE_PH[0] <= round(c.ph_limed, 2) <= _TABLE_PH[1]):
        parts = (cost.total, cost.inversion, cost.reducing_sugar, cost.lime)
        told = (money(p.value, p.low, p.high, "").replace(" (", "\n(") for p in parts)
        rows.append((f"{cost.ph_limed:.1f}", f"{cost.ph_clear:.2f}", *told))
    title = f"Cost by limed pH [{currency} a day], 90 % intervals"
    show_table([Column(name, "right") for name in names], rows, title, lines=True)


def _say_kinetics(known: Known) -> None:
    kinetics = known.prior.kinetics
    spread = math.exp(1.645 * kinetics.multiplier_log_sd)
    level = quantity(
        kinetics.multiplier, kinetics.multiplier / spread, kinetics.multiplier * spread, ""
    )
    say(
        f"Factor on the published rate {level}, {known.words}. Intervals also hold the pH slope "
        f"({kinetics.ph_slope:g} with standard error {kinetics.ph_slope_sd:g} per K), the "
        "destruction of reducing sugars and the juice's buffer."
    )


def _caution(rest: str) -> None:
    say(
        "lostpol only advises. Hot juice and steam scald, lime burns, settlers and tanks are "
        f"confined spaces. {rest}",
        style="bold",
    )


def _of(number: Estimate, unit: str, words: str) -> str:
    """Value and interval, with the unit in words behind the value and short in the interval."""
    if number.low == number.high:
        return f"{number.value:.3g} {unit}".rstrip()
    text = quantity(number.value, number.low, number.high, "")
    value, _, interval = text.partition(" (")
    inside = f"({interval.removesuffix(')')} {unit}".rstrip() + ")"
    return f"{value} {words}".rstrip() + f" {inside}"


def _ph(number: Estimate) -> str:
    return f"{number.value:.2f} ({number.low:.2f} to {number.high:.2f})"
