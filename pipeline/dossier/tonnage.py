"""From the recorded rates of a finding to its tonnes, worth and interval, step by step."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from features.kinetics import Z90
from models.account import interval_kg, lost_kg, part_kg
from pipeline.dossier.steps import Step, digits
from pipeline.dossier.words import ERRORS
from pipeline.words import channel_words, figure, known, said, section_words, span_words, unit_words

#: Reported and recomputed tonnes may differ by so much before it is said [-].
_SAME = 1e-3


@dataclass(frozen=True)
class Error:
    """One error of the tonnes: what it is, its size, how it enters, where it comes from."""

    what: str
    size: str
    enters: str
    source: str
    mark: str


@dataclass(frozen=True)
class Sum:
    """From rates to tonnes, worth and interval, with the check against what was reported."""

    steps: tuple[Step, ...]
    errors: tuple[Error, ...]
    check: str
    agrees: bool


def sum_of(
    account: Mapping[str, Any],
    finding: Mapping[str, Any],
    price: tuple[float, str],
    fed_t: float | None,
    zone: ZoneInfo,
    kinds: Mapping[str, str],
) -> Sum:
    """Steps from the recorded rates to tonnes, worth and interval.

    Parameters
    ----------
    account : mapping
        As ``models.account`` wrote it.
    finding : mapping
        Row of the findings table.
    price : tuple of (float, str)
        Worth of sucrose [currency/t], and the currency.
    fed_t : float or None
        Sucrose fed meanwhile [t].
    zone : ZoneInfo
    kinds : mapping of str to str
        Kind of each vessel by name.

    Raises
    ------
    KeyError, TypeError, ValueError
        If the account is damaged.
    """
    microbial = account["kind"] == "microbial"
    steps = _microbial(account) if microbial else _rates(account, zone, kinds)
    total_t = lost_kg(account) / 1000.0
    low, high = (kg / 1000.0 for kg in interval_kg(account))
    parts = [step.number for step in steps if step.unit == "kg" and step.what.startswith("Lost")]
    total = f"b{len(steps) + 1}"
    steps.append(
        Step(
            total,
            said("All together"),
            _together(parts),
            digits(total_t),
            "t",
            "",
            said("computed"),
        )
    )
    formula, worth = (
        said("{total} × {digits}", total=total, digits=digits(price[0])),
        digits(total_t * price[0]),
    )
    source = said("price of sucrose in the description")
    number = f"b{len(steps) + 1}"
    steps.append(
        Step(number, said("Worth"), formula, worth, price[1], source, said("as described"))
    )
    steps += _share(total, total_t, fed_t, len(steps))
    spread = digits(math.exp(Z90 * account["log_sd"]), 4)
    formula = said("{total} / {spread} to {total} × {spread}", total=total, spread=spread)
    interval = said("{digits} to {digits2}", digits=digits(low), digits2=digits(high))
    source = said(
        "exp({z90} × {digits}), the errors below joined",
        z90=figure(Z90, ".4f"),
        digits=digits(account["log_sd"], 4),
    )
    number = f"b{len(steps) + 1}"
    steps.append(
        Step(number, said("90 % interval"), formula, interval, "t", source, said("computed"))
    )
    agrees, text = _check(total_t, (low, high), finding)
    return Sum(tuple(steps), tuple(_errors(account["errors"])), text, agrees)


def _together(parts: Sequence[str]) -> str:
    return f"{parts[0]} / 1000" if len(parts) == 1 else f"({' + '.join(parts)}) / 1000"


def _rates(account: Mapping[str, Any], zone: ZoneInfo, kinds: Mapping[str, str]) -> list[Step]:
    steps: list[Step] = []
    for part in account["parts"]:
        start, end = (datetime.fromisoformat(part[name]) for name in ("started", "ended"))
        name = channel_words(part["channel"])
        where = section_words(str(part["section"]), kinds)
        first = len(steps) + 1
        rows = (
            (
                said("Loss due to {name} ({where})", name=name, where=where),
                said(
                    "multiplier {digits} × share of this driver, mean of {measured_min} min",
                    digits=digits(account["multiplier"]),
                    measured_min=figure(part["measured_min"], ","),
                ),
                part["channel_kg_h"],
                "kg/h",
                said("Shapley shares of a product, exact"),
                said("computed"),
            ),
            (
                said("The mill's own usual of it"),
                _usual(part["channel"]),
                part["baseline_kg_h"],
                "kg/h",
                "",
                said("computed"),
            ),
            (
                said("For so long"),
                span_words(start, end, zone),
                part["hours"],
                "h",
                said("change points, refined to the minute"),
                said("computed"),
            ),
            (
                said("Lost by it"),
                said(
                    "(b{first} − b{first2}) × b{first3}",
                    first=first,
                    first2=first + 1,
                    first3=first + 2,
                ),
                part_kg(part),
                "kg",
                "",
                said("computed"),
            ),
        )
        for what, formula, value, unit, source, mark in rows:
            number = f"b{len(steps) + 1}"
            steps.append(Step(number, what, formula, digits(value), unit, source, mark))
    return steps


def _usual(channel: str) -> str:
    if channel == "standing":
        return said("none: a stop is set against the station at target without feed")
    return said("running median over a week on either side, without known losses")


def _microbial(account: Mapping[str, Any]) -> list[Step]:
    # Accounts written before the key was there all rest on measured acid.
    if not account.get("by_lactic", True):
        return _microbial_by_all(account)
    acid = account["juice_kg"] * account["lactic_mg_kg"] * 1e-6
    rows = (
        (
            said("Juice through the tank"),
            said("flow × density, summed"),
            account["juice_kg"],
            "kg",
            said("flow tags; density of the Brix"),
            said("measured"),
        ),
        (
            said("Lactic acid made, above its usual"),
            said("after − before the tank, mean over that juice"),
            account["lactic_mg_kg"],
            "mg/kg",
            said("laboratory"),
            said("measured"),
        ),
        (said("Acid"), "b1 × b2 / 10⁶", acid, "kg", "", said("computed")),
        (
            said("Sucrose eaten per acid"),
            said("as described"),
            account["sucrose_per_lactic_kg_kg"],
            "kg/kg",
            said("0.95 by stoichiometry; 2 to 8 in the trade"),
            said("known to a factor of two"),
        ),
        (said("Lost by it"), "b3 × b4", lost_kg(account), "kg", "", said("computed")),
    )
    return _numbered(rows)


def _microbial_by_all(account: Mapping[str, Any]) -> list[Step]:
    """Steps where no lactic acid was measured: how much was eaten is what evidence leaves."""
    eaten_mg_kg = account["lactic_mg_kg"] * account["sucrose_per_lactic_kg_kg"]
    rows = (
        (
            said("Juice through the tank"),
            said("flow × density, summed"),
            account["juice_kg"],
            "kg",
            said("flow tags; density of the Brix"),
            said("measured"),
        ),
        (
            said("Sucrose eaten in it"),
            said("what lime, pol and the rest make likely, mean over that juice"),
            eaten_mg_kg,
            "mg/kg",
            said("all evidence together; no lactic acid was measured"),
            said("computed; prior: judgement"),
        ),
        (said("Lost by it"), "b1 × b2 / 10⁶", lost_kg(account), "kg", "", said("computed")),
    )
    return _numbered(rows)


def _share(total: str, total_t: float, fed_t: float | None, count: int) -> list[Step]:
    if fed_t is None or not fed_t > total_t:
        return []
    fed = Step(
        number=f"b{count + 1}",
        what=said("Sucrose fed meanwhile"),
        formula=said("flow × Brix × purity × density, summed"),
        value=digits(fed_t),
        unit="t",
        source=said("feed tags and laboratory"),
        mark=said("measured"),
    )
    share = Step(
        number=f"b{count + 2}",
        what=said("Share of it lost"),
        formula=f"100 × {total} / {fed.number}",
        value=digits(100.0 * total_t / fed_t, 3),
        unit="%",
        source="",
        mark=said("computed"),
    )
    return [fed, share]


def _errors(errors: Sequence[Mapping[str, Any]]) -> list[Error]:
    found = []
    for error in sorted(errors, key=lambda e: -float(e["log_sd"])):
        size = float(error["log_sd"])
        if size <= 0.0:
            continue
        words = ERRORS.get(str(error["name"]), (str(error["name"]).replace("_", " "), "", ""))
        enters = said("adds: ln(1 + size²)") if error["adds"] else said("multiplies: size²")
        found.append(
            Error(
                words[0],
                said("{digits} %", digits=digits(100.0 * size, 3)),
                enters,
                words[1],
                words[2],
            )
        )
    return found


def _check(
    total_t: float, bounds: tuple[float, float], finding: Mapping[str, Any]
) -> tuple[bool, str]:
    reported = [known(finding[name]) for name in ("lost_t", "lost_t_low", "lost_t_high")]
    again = (total_t, *bounds)
    pairs = zip(reported, again, strict=True)
    agrees = all(r is not None and abs(a - r) <= _SAME * max(abs(r), 1e-9) for r, a in pairs)
    middle = said("not known") if reported[0] is None else digits(reported[0])
    if agrees:
        return True, said(
            "Reported above the usual: {middle} t. Worked out again from the steps: {digits} t.",
            middle=middle,
            digits=digits(total_t),
        )
    return False, (
        said(
            "Reported above the usual: {middle} t, but the steps give {digits} t. The finding was "
            "changed after it was made, perhaps by a verdict; the steps show what the"
            " search found.",
            middle=middle,
            digits=digits(total_t),
        )
    )


def _numbered(rows: Sequence[tuple[str, str, float, str, str, str]]) -> list[Step]:
    """Rows of what, formula, value, unit, source and mark as steps b1, b2 and so on."""
    return [
        Step(f"b{i}", what, formula, digits(value), unit_words(unit), source, mark)
        for i, (what, formula, value, unit, source, mark) in enumerate(rows, start=1)
    ]
