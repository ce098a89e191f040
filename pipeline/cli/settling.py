"""How near to its limit a settler runs at a flow, with water added and with one vessel out."""

from __future__ import annotations

import json as json_text
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from pipeline.base import ConfigError
from pipeline.words import figure, joined, said

if TYPE_CHECKING:
    from pipeline.mill import Mill

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked; None stands for the mill's target."""

    flow_m3_h: float | None = None
    brix_pct: float | None = None
    temp_degc: float | None = None
    dilution_pct: float = 0.0
    rate_m_h: float | None = None


def settling(
    mill: MillFile,
    *,
    flow: float | None = None,
    brix: float | None = None,
    temp: float | None = None,
    dilution: float = 0.0,
    rate: float | None = None,
    json: bool = False,
) -> None:
    """Tell how near to its limit the settler runs, and what water or one vessel less would do.

    Parameters
    ----------
    flow
        Clear juice of all settlers before any water is added [m3/h]; left out: the target feed.
    brix
        Brix of the juice before any water is added [%], above 0 to 25; left out: the target.
    temp
        Temperature in the settler [degC], 60 to 105; left out: the target.
    dilution
        Water added [% on juice], 0 to 40; the trade knows settling times up to 20.
    rate
        Initial settling rate of a batch test at target Brix and temperature [m/h]; left out: as
        described, or 8 to 12.
    json
        Write it as JSON for other programs; shares in use are 1 at the design rule.
    """
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415

    described = load_mill(mill)
    answer = answer_of(described, Asked(flow, brix, temp, dilution, rate))
    if json:
        sys.stdout.write(json_text.dumps(answer, indent=2, allow_nan=False) + "\n")
        return
    lines = told(answer)
    say(lines[0], style="bold")
    for line in lines[1:]:
        say(line)
    say(
        said(
            "lostpol only advises. Settlers are confined spaces full of hot juice. Taking one out "
            "of service and changing flow or water is for trained and licensed people under site "
            "procedures and local codes."
        ),
        style="bold",
    )


def answer_of(mill: Mill, asked: Asked) -> dict[str, Any]:
    """Weigh the settlers of a mill; the keys are those of the JSON.

    Raises
    ------
    ConfigError
        The description lacks an area, or what is asked lies outside what can be answered.
    """
    from features.advice import settler_load  # noqa: PLC0415
    from features.flow import VALID_DILUTION_PCT, settling_correction  # noqa: PLC0415
    from pipeline.report import settlers_of  # noqa: PLC0415

    station = mill.station
    settlers = settlers_of(station)
    if not settlers:
        raise ConfigError(
            said("The settler cannot be weighed with this description."),
            said("{config_path}: no settler, or one without area_m2", config_path=mill.config_path),
            said("Give every settler of [[train]] its settling area, area_m2."),
        )
    flow = station.targets.flow_feed_m3_h if asked.flow_m3_h is None else asked.flow_m3_h
    brix = station.targets.brix_pct if asked.brix_pct is None else asked.brix_pct
    temp = settlers[0].temp_degc if asked.temp_degc is None else asked.temp_degc
    rate = station.settling.rate_m_h if asked.rate_m_h is None else asked.rate_m_h
    _check(flow, brix, temp, asked.dilution_pct, rate)
    usual = (station.targets.brix_pct, settlers[0].temp_degc)
    # Of a Brix off the target nobody said whether water or cane makes it: both ends are told.
    juice = sorted(float(settling_correction(brix, temp, *usual, share)) for share in (0.0, 1.0))
    water = 1.0 + asked.dilution_pct / 100.0
    sooner = float(settling_correction(brix / water, temp, brix, temp))
    areas = [v.area_m2 or 0.0 for v in settlers]
    load = settler_load(flow * water, areas, (juice[0] * sooner, juice[1] * sooner), rate)
    return {
        "mill": mill.name,
        "settlers": len(areas),
        "area_m2": sum(areas),
        "flow_m3_h": flow * water,
        "load_m_h": load.load_m_h,
        "dilution_pct": asked.dilution_pct,
        "settles_times_as_fast": sooner,
        "used_low": load.used[0],
        "used_high": load.used[1],
        "spare_m3_h_low": load.spare_m3_h[0],
        "spare_m3_h_high": load.spare_m3_h[1],
        "one_out_used_low": None if load.one_out is None else load.one_out[0],
        "one_out_used_high": None if load.one_out is None else load.one_out[1],
        "rate_m_h": rate,
        "beyond_range": asked.dilution_pct > VALID_DILUTION_PCT[1],
    }


def _check(flow: float, brix: float, temp: float, dilution: float, rate: float | None) -> None:
    limits = (
        ("--flow", flow, 0.0, 5000.0, " m3/h"),
        ("--brix", brix, 1.0, 25.0, " %"),
        ("--temp", temp, 60.0, 105.0, " degC"),
        ("--dilution", dilution, 0.0, 40.0, " %"),
        ("--rate", 1.0 if rate is None else rate, 0.1, 60.0, " m/h"),
    )
    wrong = [
        f"{name} {value:g}{unit}"
        for name, value, low, high, unit in limits
        if not (math.isfinite(value) and low <= value <= high)
    ]
    if wrong:
        cure = joined(
            ", ",
            [
                said(
                    "{option} {low} to {high}{unit}",
                    option=name,
                    low=figure(low, "g"),
                    high=figure(high, "g"),
                    unit=unit,
                )
                for name, _, low, high, unit in limits
            ],
        )
        raise ConfigError(said("This lies outside what can be worked out."), ", ".join(wrong), cure)


def told(answer: dict[str, Any]) -> list[str]:
    """Say the answer to a person, the use of the settler first."""
    lines = [
        said(
            "{share} of the settler's design rule is used: {flow} m³/h over {area} m², {load} m³/h "
            "per m².",
            share=_share(answer["used_low"], answer["used_high"]),
            flow=figure(answer["flow_m3_h"], ".0f"),
            area=figure(answer["area_m2"], "g"),
            load=figure(answer["load_m_h"], ".2f"),
        ),
        said(
            "It could take {low} to {high} m³/h besides (below 0: it is over its rule).",
            low=figure(answer["spare_m3_h_low"], ".0f"),
            high=figure(answer["spare_m3_h_high"], ".0f"),
        ),
    ]
    if answer["dilution_pct"] > 0.0:
        lines.append(
            said(
                "With {water} % of water the juice settles {times} times as fast (78, 38, 28 min "
                "at 0, 10, 20 %: common practice), and there is more of it; the water has to be "
                "boiled off again.",
                water=figure(answer["dilution_pct"], "g"),
                times=figure(answer["settles_times_as_fast"], ".2f"),
            )
        )
    if answer["beyond_range"]:
        lines.append(said("Above 20 % of water no settling time is known: a rough guess."))
    if answer["one_out_used_low"] is None:
        lines.append(said("There is one settler: with it out of service the station stops."))
    else:
        lines.append(
            said(
                "With the largest of {settlers} out of service: {share} is used.",
                settlers=answer["settlers"],
                share=_share(answer["one_out_used_low"], answer["one_out_used_high"]),
            )
        )
    rate = answer["rate_m_h"]
    known = said("8 to 12 m/h, usual")
    if rate is not None:
        known = said("{rate} m/h, as told", rate=figure(rate, "g"))
    lines.append(
        said(
            "The rule: flow by area is at most half the initial settling rate of a batch test "
            "({known}); area counts, not depth (common practice).",
            known=known,
        )
    )
    return lines


def _share(low: float, high: float) -> str:
    most = figure(100 * high, ".0f")
    if round(100 * low) == round(100 * high):
        return said("{share} %", share=most)
    return said("{low} to {high} %", low=figure(100 * low, ".0f"), high=most)
