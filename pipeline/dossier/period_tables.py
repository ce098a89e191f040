"""Tables of the account of a period: drivers and vessels, in words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from models.account import PeriodAccount, Tonnes
from pipeline.period import Answer
from pipeline.words import bare_tonnes, plain, said, section_words, share_words, tonnes

#: Drivers of less than this either way are left out of the vessels' table [t].
_LEAST_T: Final = 0.0005
#: A number as printed, in English, that is not all zeros.
_NOT_NOTHING: Final = re.compile(r"[-−]?[0.,]*[1-9]")


@dataclass(frozen=True)
class DriverRow:
    """One driver above the usual; ``part`` [%] of the largest, 0 where nothing shows in print."""

    name: str
    above: str
    part: float


@dataclass(frozen=True)
class VesselLine:
    """One vessel of the account, as text [t]."""

    name: str
    lost: str
    usual: str
    target: str
    above: str
    by_driver: tuple[str, ...]
    beside: str


def bounds(amount: Tonnes) -> tuple[float, float, float]:
    """Value, and ends of the interval."""
    return amount.mid, amount.low, amount.high


def in_tonnes(amount: Tonnes) -> str:
    """Tonnes with their interval, in words."""
    return tonnes(*bounds(amount))


def bare(amount: float) -> str:
    """Tonnes alone, in words."""
    return bare_tonnes(amount, None, None)


def drivers(account: PeriodAccount) -> list[DriverRow]:
    """Drivers above the usual, largest first."""
    most = max((abs(p.above_usual.mid) for p in account.by_driver), default=0.0) or 1.0
    return [
        DriverRow(
            share_words(part.driver),
            in_tonnes(part.above_usual),
            100.0 * part.above_usual.mid / most if _shows(in_tonnes(part.above_usual)) else 0.0,
        )
        for part in account.by_driver
        if abs(part.above_usual.mid) >= _LEAST_T
    ]


def _shows(words: str) -> bool:
    """Whether printed tonnes are any: what rounds to nothing has no bar."""
    return bool(_NOT_NOTHING.match(words))


def told_drivers(account: PeriodAccount) -> list[str]:
    """Drivers that are large enough to be told."""
    return [p.driver for p in account.by_driver if abs(p.above_usual.mid) >= _LEAST_T]


def vessels(found: Answer, kinds: dict[str, str]) -> list[VesselLine]:
    """Vessels in flow order, then all together."""
    account = found.account
    names = told_drivers(account)
    other = {} if found.beside is None else {v.zone: v for v in found.beside.account.by_vessel}
    rows = [
        VesselLine(
            section_words(part.zone, kinds),
            _kg(part.lost.mid),
            _kg(part.usual_t),
            _kg(part.target_t),
            _kg(part.above_usual.mid),
            tuple(_kg(part.by_driver.get(name, 0.0)) for name in names),
            _kg(other[part.zone].lost.mid) if part.zone in other else "",
        )
        for part in account.by_vessel
    ]
    by_name = {part.driver: part.above_usual.mid for part in account.by_driver}
    total = VesselLine(
        said("all together"),
        _kg(account.lost.mid),
        _kg(account.usual_t),
        _kg(account.target_t),
        _kg(account.above_usual.mid),
        tuple(_kg(by_name[name]) for name in names),
        "" if found.beside is None else _kg(found.beside.account.lost.mid),
    )
    return [*rows, total]


def _kg(tonnes_lost: float) -> str:
    return plain(tonnes_lost, 3)
