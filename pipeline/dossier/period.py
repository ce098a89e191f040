"""The page of any period: the dossier's trends, moves, laboratory and sensors around an account."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from models.account import PeriodAccount, Tonnes
from pipeline.base import ConfigError, keep_private
from pipeline.dossier.chart import as_script, chart_data
from pipeline.dossier.choose import lanes_of, named_shown
from pipeline.dossier.drawing import still
from pipeline.dossier.export import lab_frame, minutes_frame, write_both, write_whole
from pipeline.dossier.gather import Material, gather
from pipeline.dossier.lanes import Lane, by_the_clock, vessel_kinds
from pipeline.dossier.missing import missing
from pipeline.dossier.moves import chart_moves, move_rows, moves_of
from pipeline.dossier.render import render
from pipeline.dossier.sections import lab_rows, sensor_rows
from pipeline.period import Answer, not_computed, note_words, scaled, tags_of, what_of
from pipeline.store import SAFE_ID, dossiers_of, published_store_of
from pipeline.words import (
    bare_tonnes,
    clean,
    clocks_change,
    duration_words,
    feed_share,
    money,
    notice_words,
    plain,
    section_words,
    share_words,
    span_words,
    tonnes,
    words_of,
)

PERIOD_PAGE = "period.html"
_DATA = ("minutes", "laboratory")
#: Drivers of less than this either way are left out of the vessels' table [t].
_LEAST_T = 0.0005


@dataclass(frozen=True)
class DriverRow:
    """One driver above the usual; ``width`` [%] of the largest."""

    name: str
    above: str
    width: float
    adds: bool


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


def write_period(found: Answer, out: Path | None = None) -> Path:
    """Write the page of a period, with its minutes and laboratory results beside it.

    Parameters
    ----------
    found : Answer
    out : Path, optional
        Folder; without one, ``reports/period/<from>_<to>`` in the mill's store.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    ConfigError
        The folder cannot be written to.
    """
    if out is None:
        keep_private()  # what --out names is the user's own; the store is not
    stamps = (f"{moment:%Y%m%dT%H%MZ}" for moment in (found.window.start, found.window.end))
    folder = found.mill.reports_path / "period" / "_".join(stamps) if out is None else out
    material = gather(found.mill, _as_finding(found))
    exported = [f"{part}.{kind}" for part in _DATA for kind in ("csv", "parquet")]
    html, lanes = _page(found, material, exported, linked=out is None)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        frames = (minutes_frame(material, lanes), lab_frame(material))
        for part, frame in zip(_DATA, frames, strict=True):
            write_both(folder, part, frame)
        write_whole(folder / PERIOD_PAGE, html.encode())
    except OSError as fault:
        raise ConfigError(
            "The page could not be written.",
            f"{folder}: {fault.strerror or fault}",
            "Free space, grant the right to write there, or name another folder with --out.",
        ) from fault
    return folder / PERIOD_PAGE


def _as_finding(found: Answer) -> dict[str, Any]:
    """The period in the place of a finding: what the dossier's tables ask of one."""
    runs = published_store_of(found.mill).runs()
    return {
        "finding_id": "",
        "run_id": runs["run_id"][-1] if runs.height else "",
        "started": found.window.start,
        "ended": found.window.end,
        "cause": found.cause,
        "section": found.zone,
        "evidence": "{}",
    }


def _page(
    found: Answer, material: Material, exported: Sequence[str], *, linked: bool
) -> tuple[str, list[Lane]]:
    lanes = lanes_of(material)
    moves = moves_of(material, lanes, found.known, found.told)
    lanes = named_shown(lanes, moves.named)
    names = {lane.key: lane.tag or lane.what for lane in lanes}
    zone = found.mill.tz
    content: dict[str, Any] = _headline(found) | {
        "subject": "the period",
        "chart": as_script(chart_data(material, lanes, chart_moves(material, lanes, moves))),
        "still": still(material, lanes),
        "lanes": lanes,
        "span": span_words(*material.drawn, zone),
        "clocks_change": clocks_change(*material.drawn, zone),
        "by_the_clock": by_the_clock(material),
        "by_factors": True,
        "moves": move_rows(material, lanes, moves),
        "unmoved": [names[key] for key in moves.still if key in names],
        "shown": sum(lane.shown for lane in lanes),
        "drivers": _drivers(found.account),
        "driver_names": [share_words(name) for name in _told_drivers(found.account)],
        "vessels": _vessels(found, vessel_kinds(material)),
        "findings": _findings(found, material, linked=linked),
        "notices": [
            {
                "when": span_words(row["started"], row["ended"], zone),
                "name": notice_words(row["kind"]),
                "text": clean(row["text"], 400),
            }
            for row in found.notices
        ],
        "notes": [note_words(found.mill, note) for note in found.notes],
        "sensors": sensor_rows(material, lanes),
        "lab": lab_rows(material),
        "missing": _missing(found, material, lanes),
        "exported": exported,
    }
    return render("period.html.j2", content), lanes


def _headline(found: Answer) -> dict[str, Any]:
    account, mill = found.account, found.mill
    other = found.beside.account if found.beside is not None else None
    again = None if other is None else scaled(account, other)
    mid, low, high = (v * mill.price_per_t for v in _bounds(account.above_usual))
    look = ""
    if found.told is not None and found.told.named is not None and account.above_usual.low > 0.0:
        signal = found.told.named.first.signal
        look = f"Look first at {tags_of(signal)}: {what_of(signal)}."
    return {
        "mill": clean(mill.name),
        "zone": mill.zone,
        "when": span_words(found.window.start, found.window.end, mill.tz),
        "lasted": duration_words(found.window.end - found.window.start),
        "sentence": found.sentence,
        "look_first": look,
        "lost": _t(account.lost),
        "share": feed_share(account.lost_pct),
        "usual": _bare(account.usual_t),
        "target": _bare(account.target_t),
        "above_usual": _t(account.above_usual),
        "above_target": _t(account.above_target),
        "worth": money(mid, low, high, clean(mill.currency, 12)),
        "stood": duration_words(timedelta(hours=account.standing_h)) if account.standing_h else "",
        "cause": words_of(found.cause) if found.cause else None,
        "beside": "" if other is None else span_words(other.start, other.end, mill.tz),
        "beside_lost": "" if other is None else _t(other.lost),
        "beside_share": "" if other is None else feed_share(other.lost_pct),
        "beside_scaled": "" if again is None else _bare(again),
    }


def _bounds(amount: Tonnes) -> tuple[float, float, float]:
    return amount.mid, amount.low, amount.high


def _t(amount: Tonnes) -> str:
    return tonnes(*_bounds(amount))


def _bare(amount: float) -> str:
    return bare_tonnes(amount, None, None)


def _drivers(account: PeriodAccount) -> list[DriverRow]:
    most = max((abs(p.above_usual.mid) for p in account.by_driver), default=0.0) or 1.0
    return [
        DriverRow(
            share_words(part.driver),
            _t(part.above_usual),
            100.0 * abs(part.above_usual.mid) / most,
            part.above_usual.mid > 0.0,
        )
        for part in account.by_driver
        if abs(part.above_usual.mid) >= _LEAST_T
    ]


def _told_drivers(account: PeriodAccount) -> list[str]:
    return [p.driver for p in account.by_driver if abs(p.above_usual.mid) >= _LEAST_T]


def _vessels(found: Answer, kinds: dict[str, str]) -> list[VesselLine]:
    account = found.account
    names = _told_drivers(account)
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
        "all together",
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


def _findings(found: Answer, material: Material, *, linked: bool) -> list[dict[str, str]]:
    ids = [item.finding_id for item in found.account.findings if SAFE_ID.fullmatch(item.finding_id)]
    # Pages of periods lie one folder further down than reports.
    links = dossiers_of(found.mill, ids) if linked else {}
    kinds = vessel_kinds(material)
    return [
        {
            "id": item.finding_id,
            "link": f"../{links[item.finding_id]}" if item.finding_id in links else "",
            "cause": words_of(item.cause).name,
            "where": section_words(item.section, kinds),
            "when": span_words(item.started, item.ended, found.mill.tz),
            "whole": _bare(item.lost_t),
            "here": _t(item.here),
        }
        for item in found.account.findings
    ]


def _missing(found: Answer, material: Material, lanes: Sequence[Lane]) -> list[tuple[str, str]]:
    own = not_computed(found)
    kinds = vessel_kinds(material)
    spoken = [(section_words(what, kinds) if what in kinds else what, why) for what, why in own]
    return [*spoken, *missing(material, lanes, None)]
