"""Two questions a shift can ask: what standing costs, and which limed pH costs least.

The answers come from ``features``; here questions are checked and kinetics looked up. What a
person is shown is in ``calculators_show``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any, Final

import polars as pl

from features.advice import LONGEST_H, Cost, Juice, Prices, Setpoint, Standing, advise, stand
from features.kinetics import Estimate, Prior, log_sd_of_interval, published
from pipeline.base import ConfigError
from pipeline.mill import Mill
from pipeline.replay import prices_of
from pipeline.store import published_store_of
from pipeline.words import figure, said, stored

_RANGE: Final = said(
    "The kinetics hold for 60-130 degC and hot pH 4-8, any Brix; give --ph 4 to 9, "
    "--temp 20 to 130, --brix above 0 to 79, --hours above 0 to {longest_h}, --cooling "
    "0 to 100.",
    longest_h=figure(LONGEST_H, "g"),
)


@dataclass(frozen=True, slots=True)
class Known:
    """Kinetics and where they come from, in words."""

    prior: Prior
    words: str


def kinetics_of(mill: Mill | None) -> Known:
    """Kinetics to answer with: published, as described, or as fitted to the laboratory.

    Parameters
    ----------
    mill : Mill or None
        Without a mill the published rate stands as it is.

    Raises
    ------
    StoreBusyError, DataError
        The findings store exists but cannot be read.
    """
    if mill is None:
        return Known(published(), said("published inversion kinetics as they stand, of no mill"))
    described = Prior(mill.station.kinetics)
    store = published_store_of(mill)
    runs = store.runs() if store.path.exists() else pl.DataFrame()
    if not runs.is_empty():
        runs = runs.filter(
            (pl.col("state") == "finished")
            & (pl.col("multiplier_pairs") > 0)
            & (pl.col("multiplier_low") > 0.0)
            & (pl.col("multiplier") > 0.0)
            & (pl.col("multiplier_high") > 0.0)
        ).sort("window_end", "finished_at")
    if runs.is_empty():
        return Known(
            described,
            said("as described for {mill}; its laboratory has given none yet", mill=mill.name),
        )
    run = runs.row(-1, named=True)
    until = run["window_end"].astimezone(mill.tz)
    words = said(
        "fitted to {n} laboratory samples of {mill} up to {day}",
        n=run["multiplier_pairs"],
        mill=mill.name,
        day=f"{until:%Y-%m-%d}",
    )
    if run["config_hash"] != mill.config_hash:
        words = said("{words}, before its description was changed", words=words)
    return Known(_fitted(mill, run), words)


def _fitted(mill: Mill, run: dict[str, Any]) -> Prior:
    """Belief with the multiplier of a run."""
    kinetics = replace(
        mill.station.kinetics,
        multiplier=run["multiplier"],
        multiplier_log_sd=log_sd_of_interval(run["multiplier_low"], run["multiplier_high"]),
    )
    settlers = mill.station.of_kind("settler")
    return Prior(kinetics, settlers[0].temp_degc if settlers else None)


def standing_juice(juice: Juice, hours: float, mill: Mill | None) -> tuple[Standing, Known]:
    """Answer what standing costs.

    Raises
    ------
    ConfigError
        Naming everything typed that lies outside what can be answered.
    """
    limits = (
        ("--ph", juice.ph, 4.0, 9.0, ""),
        ("--temp", juice.temp_degc, 20.0, 130.0, " degC"),
        ("--brix", juice.brix_pct, 0.0, 79.0, " %"),
        ("--hours", hours, 0.0, LONGEST_H, " h"),
        ("--cooling", juice.cooling_k_h, 0.0, 100.0, " K/h"),
    )
    wrong = [
        f"{name} {value:g}{unit}"
        for name, value, low, high, unit in limits
        if not low <= value <= high or (name in ("--brix", "--hours") and value == low)
    ]
    if wrong:
        raise ConfigError(
            said("This lies outside what can be worked out."), ", ".join(wrong), _RANGE
        )
    if mill is not None:
        juice = replace(juice, purity_pct=mill.station.targets.purity_pct)
    known = kinetics_of(mill)
    return stand(juice, hours, known.prior), known


def standing_json(standing: Standing) -> str:
    """Standing as JSON; shares are % of the sucrose at the start."""
    end = standing.end
    return _as_json(
        {
            "lost_pct": end.lost_pct.value,
            "lost_pct_low": end.lost_pct.low,
            "lost_pct_high": end.lost_pct.high,
            "rs_made_pct": end.rs_made_pct.value,
            "ph_end": end.ph.value,
            "hours_to_tenth_pct": standing.hours_to_tenth_pct,
        }
    )


def limed_ph(mill: Mill) -> tuple[Setpoint, Prices, Known]:
    """Answer which limed pH costs least for a mill.

    Raises
    ------
    ConfigError
        The description lacks what the answer needs.
    StoreBusyError, DataError
        The findings store exists but cannot be read.
    """
    prices = prices_of(mill)
    known = kinetics_of(mill)
    try:
        return advise(mill.station, prices, known.prior), prices, known
    except ValueError as error:
        raise ConfigError(
            said("The limed pH cannot be weighed with this description."),
            said("{path}: {why}", path=mill.config_path, why=stored(str(error))),
            said("Describe targets and the vessels after liming, then run lostpol check."),
        ) from error


def setpoint_json(mill: Mill, advice: Setpoint, prices: Prices, known: Known) -> str:
    """Advice as JSON: pH of cooled samples, costs per day, 90 % intervals."""
    kinetics = known.prior.kinetics
    return _as_json(
        {
            "mill": mill.name,
            "currency": mill.currency,
            **_spread("best_ph_limed", advice.best_ph),
            "target_ph_limed": mill.station.targets.ph_limed,
            **_spread("saving_per_day", advice.saving),
            "best": _cost_row(advice.at_best),
            "target": _cost_row(advice.at_target),
            "advised_from_ph": advice.advised[0],
            "advised_to_ph": advice.advised[1],
            "flat_from_ph": advice.flat[0],
            "flat_to_ph": advice.flat[1],
            "flat_within_per_day": advice.flat_within,
            "at_edge": advice.at_edge,
            "prices_per_t": {
                "sucrose": prices.sucrose,
                "reducing_sugar": prices.reducing_sugar,
                "lime": prices.lime,
            },
            "multiplier": kinetics.multiplier,
            "multiplier_source": known.words,
            "curve": [_cost_row(cost) for cost in advice.curve],
        }
    )


def _cost_row(cost: Cost) -> dict[str, float]:
    return {
        "ph_limed": cost.ph_limed,
        "ph_clear": cost.ph_clear,
        **_spread("cost_per_day", cost.total),
        **_spread("inversion_per_day", cost.inversion),
        **_spread("reducing_sugar_per_day", cost.reducing_sugar),
        **_spread("lime_per_day", cost.lime),
    }


def _spread(name: str, number: Estimate) -> dict[str, float]:
    return {name: number.value, f"{name}_low": number.low, f"{name}_high": number.high}


def _as_json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=True, allow_nan=False)
