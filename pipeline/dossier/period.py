"""The page of any period: the dossier's trends, moves, laboratory and sensors around an account."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from pipeline.base import ConfigError, keep_private
from pipeline.charts import told
from pipeline.dossier.chart import as_script, chart_data
from pipeline.dossier.choose import lanes_of, named_shown
from pipeline.dossier.drawing import still
from pipeline.dossier.export import lab_frame, minutes_frame, write_both, write_whole
from pipeline.dossier.gather import Material, gather
from pipeline.dossier.lanes import Lane, by_the_clock, vessel_kinds
from pipeline.dossier.missing import missing
from pipeline.dossier.moves import chart_moves, move_rows, moves_of
from pipeline.dossier.period_tables import (
    bare,
    bounds,
    drivers,
    in_tonnes,
    told_drivers,
    vessels,
)
from pipeline.dossier.raw import with_raw
from pipeline.dossier.render import render
from pipeline.dossier.sections import lab_rows, sensor_rows
from pipeline.dossier.under import laid_under
from pipeline.period import Answer, not_computed, note_words, scaled, tags_of, what_of
from pipeline.present import tongue_for
from pipeline.store import SAFE_ID, dossiers_of, published_store_of
from pipeline.tongue import InTongue
from pipeline.words import (
    against_targets,
    clean,
    clocks_change,
    duration_words,
    feed_share,
    headline_words,
    joined,
    money,
    notice_words,
    said,
    section_words,
    share_words,
    span_words,
    stored,
    words_of,
)

PERIOD_PAGE = "period.html"
_DATA = ("minutes", "laboratory")


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
    folder = found.mill.reports_path / "period" / joined("_", stamps) if out is None else out
    exported = [f"{part}.{kind}" for part in _DATA for kind in ("csv", "parquet")]
    view = view_of_period(found, {} if out is not None else _dossiers(found))
    html = render("period.html.j2", view.content | {"exported": exported}, tongue_for(found.mill))
    material, lanes = view.material, view.lanes
    try:
        folder.mkdir(parents=True, exist_ok=True)
        frames = (minutes_frame(material, lanes), lab_frame(material))
        for part, frame in zip(_DATA, frames, strict=True):
            write_both(folder, part, frame)
        write_whole(folder / PERIOD_PAGE, html.encode())
    except OSError as fault:
        raise ConfigError(
            said("The page could not be written."),
            f"{folder}: {fault.strerror or fault}",
            said("Free space, grant the right to write there, or name another folder with --out."),
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


@dataclass(frozen=True)
class PeriodView:
    """The account of a period in words, tables and lanes.

    Attributes
    ----------
    content : dict
        For the parts of pages.
    material : Material
    lanes : list of Lane
    """

    content: dict[str, Any]
    material: Material
    lanes: list[Lane]


def view_of_period(found: Answer, links: Mapping[str, str]) -> PeriodView:
    """The account of a period as pages show it.

    Parameters
    ----------
    found : Answer
        Another period in it is laid under the lanes, from its own beginning on.
    links : mapping of str to str
        Address of the page of each finding that has one, by its id.
    """
    material = gather(found.mill, _as_finding(found))
    lanes = lanes_of(material)
    moves = moves_of(material, lanes, found.known, found.told)
    lanes = with_raw(material, named_shown(lanes, moves.named))
    if found.beside is not None:
        lanes = laid_under(material, lanes, found.beside.window)
    names = {lane.key: lane.tag or lane.what for lane in lanes}
    zone = found.mill.tz
    data = chart_data(material, lanes, chart_moves(material, lanes, moves))
    content: dict[str, Any] = _headline(found) | {
        "subject": said("the period"),
        "chart": InTongue(lambda tongue: as_script(data, tongue)),
        "still": still(material, lanes),
        "noted": told(material.noted),
        "lanes": lanes,
        "raw": any(lane.raw is not None for lane in lanes),
        "span": span_words(*material.drawn, zone),
        "clocks_change": clocks_change(*material.drawn, zone),
        "by_the_clock": by_the_clock(material),
        "by_factors": True,
        "moves": move_rows(material, lanes, moves),
        "unmoved": [names[key] for key in moves.still if key in names],
        "shown": sum(lane.shown for lane in lanes),
        "drivers": drivers(found.account),
        "driver_names": [share_words(name) for name in told_drivers(found.account)],
        "vessels": vessels(found, vessel_kinds(material)),
        "findings": _findings(found, material, links),
        "notices": [
            {
                "when": span_words(row["started"], row["ended"], zone),
                "name": notice_words(row["kind"]),
                "text": stored(clean(row["text"], 400)),
            }
            for row in found.notices
        ],
        "notes": [note_words(found.mill, note) for note in found.notes],
        "sensors": sensor_rows(material, lanes),
        "lab": lab_rows(material),
        "missing": _missing(found, material, lanes),
    }
    return PeriodView(content, material, lanes)


def _dossiers(found: Answer) -> dict[str, str]:
    """Dossiers that are written, seen from a page of a period: one folder down from reports."""
    ids = [item.finding_id for item in found.account.findings if SAFE_ID.fullmatch(item.finding_id)]
    return {name: f"../{link}" for name, link in dossiers_of(found.mill, ids).items()}


def _headline(found: Answer) -> dict[str, Any]:
    account, mill = found.account, found.mill
    other = found.beside.account if found.beside is not None else None
    again = None if other is None else scaled(account, other)
    mid, low, high = (v * mill.price_per_t for v in bounds(account.above_usual))
    target = account.above_target
    above_target = against_targets(target.mid, target.low, target.high)
    look = ""
    if found.told is not None and found.told.named is not None and account.above_usual.low > 0.0:
        signal = found.told.named.first.signal
        look = said(
            "Look first at {tags_of}: {what_of}.", tags_of=tags_of(signal), what_of=what_of(signal)
        )
    return {
        "mill": clean(mill.name),
        "zone": mill.zone,
        "when": span_words(found.window.start, found.window.end, mill.tz),
        "lasted": duration_words(found.window.end - found.window.start),
        "sentence": found.sentence,
        "look_first": look,
        "lost": in_tonnes(account.lost),
        "share": feed_share(account.lost_pct),
        "usual": bare(account.usual_t),
        "target": bare(account.target_t),
        "above_usual": in_tonnes(account.above_usual),
        "above_target": above_target,
        "against": headline_words(above_target),
        "worth": money(mid, low, high, clean(mill.currency, 12)),
        "stood": duration_words(timedelta(hours=account.standing_h)) if account.standing_h else "",
        "cause": words_of(found.cause) if found.cause else None,
        "beside": "" if other is None else span_words(other.start, other.end, mill.tz),
        "beside_lost": "" if other is None else in_tonnes(other.lost),
        "beside_share": "" if other is None else feed_share(other.lost_pct),
        "beside_scaled": "" if again is None else bare(again),
    }


def _findings(found: Answer, material: Material, links: Mapping[str, str]) -> list[dict[str, str]]:
    kinds = vessel_kinds(material)
    return [
        {
            "id": item.finding_id,
            "link": links.get(item.finding_id, ""),
            "cause": words_of(item.cause).name,
            "where": section_words(item.section, kinds),
            "when": span_words(item.started, item.ended, found.mill.tz),
            "whole": bare(item.lost_t),
            "here": in_tonnes(item.here),
        }
        for item in found.account.findings
    ]


def _missing(found: Answer, material: Material, lanes: Sequence[Lane]) -> list[tuple[str, str]]:
    own = not_computed(found)
    kinds = vessel_kinds(material)
    spoken = [(section_words(what, kinds) if what in kinds else what, why) for what, why in own]
    return [*spoken, *missing(material, lanes, None, vessels_told=True)]
