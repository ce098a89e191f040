"""From what was gathered to the page: words, tables, chart, checks, and one HTML text."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from models.account import Workings, work_through
from pipeline.charts import told as told_known
from pipeline.dossier.chart import as_script, chart_data
from pipeline.dossier.choose import lanes_of, named_shown
from pipeline.dossier.drawing import still
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Lane, by_the_clock, vessel_kinds
from pipeline.dossier.level import level_of
from pipeline.dossier.missing import missing
from pipeline.dossier.moves import chart_moves, move_rows, moves_around, moves_of
from pipeline.dossier.raw import with_raw
from pipeline.dossier.render import render
from pipeline.dossier.sections import lab_rows, sensor_rows, zone_rows
from pipeline.dossier.similar import similar_episodes, similar_rows
from pipeline.dossier.steps import Step, minute_steps
from pipeline.dossier.tonnage import Sum, sum_of
from pipeline.period import Around, Told, sentence_of, tags_of, what_of
from pipeline.present import tongue_for
from pipeline.report import chance_words, mark_words
from pipeline.store import counting
from pipeline.tongue import InTongue
from pipeline.words import (
    channel_words,
    clean,
    clocks_change,
    confidence_words,
    count,
    duration_words,
    feed_share,
    figure,
    known,
    moment_words,
    money,
    read_evidence,
    said,
    section_words,
    span_words,
    status_words,
    tonnes,
    words_of,
)


@dataclass(frozen=True)
class Page:
    """A dossier ready to be written.

    Attributes
    ----------
    html : str
    lanes : list of Lane
        What the chart shows, and what is exported.
    steps : list of Step
        Every step of the calculation, in order.
    """

    html: str
    lanes: list[Lane]
    steps: list[Step]


def make_page(material: Material, links: Mapping[str, str], exported: Sequence[str]) -> Page:
    """Make the dossier of a finding as HTML text.

    Parameters
    ----------
    material : Material
    links : mapping of str to str
        Relative address of each dossier that exists, by finding id.
    exported : sequence of str
        Names of the data files that lie beside the page.
    """
    lanes = lanes_of(material)
    known, told = moves_around(material)
    moves = moves_of(material, lanes, known, told)
    lanes = with_raw(material, named_shown(lanes, moves.named))
    workings = _workings(material)
    hand = workings.by_hand if workings is not None else None
    account = material.account or {}
    by_minute = [] if hand is None else minute_steps(hand, material.station, account)
    total, fault = _total(material)
    evidence = read_evidence(material.finding["evidence"])
    sentence, facts = _sentence(material, known, told)
    zone = ZoneInfo(material.mill.zone)
    parts = [part for part in account.get("parts", ()) if isinstance(part, dict)]
    names = {lane.key: lane.tag or lane.what for lane in lanes}
    data = chart_data(material, lanes, chart_moves(material, lanes, moves))
    content: dict[str, Any] = _headline(material) | {
        "chart": InTongue(lambda tongue: as_script(data, tongue)),
        "still": still(material, lanes),
        "noted": told_known(material.noted),
        "lanes": lanes,
        "raw": any(lane.raw is not None for lane in lanes),
        "span": span_words(*material.drawn, zone),
        "clocks_change": clocks_change(*material.drawn, zone),
        "by_the_clock": by_the_clock(material),
        "sentence": sentence,
        "look_first": _look_first(told),
        "moves": move_rows(material, lanes, moves),
        "unmoved": [names[key] for key in moves.still if key in names],
        "shown": sum(lane.shown for lane in lanes),
        "evidence": evidence,
        "shares": [(s.name, s.percent) for s in evidence.shares],
        "facts": facts,
        "zones": [] if workings is None else zone_rows(material, workings.vessels, parts),
        "part_names": [channel_words(str(part["channel"])) for part in parts],
        "by_minute": by_minute,
        "minute_at": "" if hand is None else moment_words(hand.at, zone),
        "minute_in": "" if hand is None else section_words(hand.zone, vessel_kinds(material)),
        "by_factors": account.get("kind") != "microbial",
        "total": total,
        "fault": fault,
        "sensors": sensor_rows(material, lanes),
        "lab": lab_rows(material),
        "similar": similar_rows(
            material, similar_episodes(material.finding, material.others), links
        ),
        "missing": missing(material, lanes, workings),
        "exported": exported,
        "run": _run_words(material),
    }
    steps = [*by_minute, *(total.steps if total is not None else ())]
    return Page(render("dossier.html.j2", content, tongue_for(material.mill)), lanes, steps)


def _headline(material: Material) -> dict[str, Any]:
    row, mill = material.finding, material.mill
    zone = ZoneInfo(mill.zone)
    lost, low, high = (known(row[name]) for name in ("lost_t", "lost_t_low", "lost_t_high"))
    price = [None if v is None else v * mill.price_per_t for v in (lost, low, high)]
    phrase = counting(material.verdicts).get(str(row["finding_id"]))
    mass = tonnes(lost, low, high)
    worth = money(price[0], price[1], price[2], clean(mill.currency, 12))
    return {
        "mill": clean(mill.name),
        "subject": said("the finding"),
        "zone": mill.zone,
        "number": row["rank"],
        "finding_id": str(row["finding_id"]),
        "cause": words_of(str(row["cause"])),
        "where": section_words(str(row["section"]), vessel_kinds(material)),
        "when": span_words(row["started"], row["ended"], zone),
        "lasted": duration_words(row["ended"] - row["started"]),
        "mass": _parted(mass),
        "worth": _parted(worth),
        "share": feed_share(row["lost_pct"]),
        "level": level_of(material),
        "sure": confidence_words(known(row["confidence"])),
        "mark": mark_words(row),
        "chance": chance_words(row),
        "data_to": "" if material.run is None else moment_words(material.run["as_of"], zone),
        "status": status_words(str(row["status"])),
        "withdrawn": row["status"] == "withdrawn",
        "verdict": _verdict_words(phrase, zone) if phrase else "",
    }


def _parted(text: str) -> list[str]:
    """A quantity and, without its brackets, its interval."""
    return text.rstrip(")").split(said(" ("), 1)


def _all_facts(material: Material) -> list[str]:
    """Every fact in words: the report's reader of evidence gives the first few at a time."""
    facts = material.evidence.get("facts")
    rest = facts if isinstance(facts, list) else []
    phrase: list[str] = []
    while rest:
        read = read_evidence(json.dumps({"facts": rest}))
        phrase += read.facts
        if read.more_facts == 0 or not read.facts:
            break
        rest = rest[-read.more_facts :]
    return phrase


def _sentence(material: Material, known: Around | None, told: Told | None) -> tuple[str, list[str]]:
    """The sentence that names it, and the facts without it.

    Findings of an older search carry none yet: it is written here.
    """
    facts = _all_facts(material)
    if "named" in material.evidence and facts:
        return facts[0], facts[1:]
    return ("" if known is None or told is None else sentence_of(told, known)), facts


def _look_first(told: Told | None) -> str:
    """First check on the floor: the instrument of what moved first."""
    if told is None or told.named is None:
        return ""
    signal = told.named.first.signal
    return said(
        "Look first at {tags_of}: {what_of}.", tags_of=tags_of(signal), what_of=what_of(signal)
    )


def _verdict_words(phrase: Mapping[str, Any], zone: ZoneInfo) -> str:
    by = said(
        "by {author}, {moment_words}",
        author=clean(phrase["author"], 80),
        moment_words=moment_words(phrase["given_at"], zone),
    )
    note = clean(phrase["note"], 1000)
    return said("{verdict} {by}", verdict=clean(phrase["verdict"], 20), by=by) + (
        said(": {note}", note=note) if note else ""
    )


def _workings(material: Material) -> Workings | None:
    account, finding = material.account, material.finding
    # What microbes eat does not follow from the kinetics of inversion.
    if material.minutes is None or (account or {}).get("kind") == "microbial":
        return None
    run = material.run or {}
    multiplier = known((account or {}).get("multiplier")) or known(run.get("multiplier"))
    parts = (account or {}).get("parts") or [{}]
    rates = parts[0].get("by_zone_kg_h") or {} if isinstance(parts[0], dict) else {}
    best = sorted(rates, key=lambda zone: (-float(rates[zone]), zone))
    return work_through(
        material.minutes,
        material.biases,
        material.station,
        multiplier or 1.0,
        (finding["started"], finding["ended"]),
        [*best, str(finding["section"])],
    )


def _total(material: Material) -> tuple[Sum | None, str]:
    """Sum of the account, or None and why there is none."""
    account, mill = material.account, material.mill
    if account is None:
        return None, (
            said(
                "No account of the calculation is kept with this finding: it was written "
                "by an older version, or its evidence is damaged. Run lostpol backfill to"
                " have it written."
            )
        )
    price = (mill.price_per_t, clean(mill.currency, 12))
    try:
        return sum_of(
            account,
            material.finding,
            price,
            _fed_t(material),
            ZoneInfo(mill.zone),
            vessel_kinds(material),
        ), ""
    except (KeyError, TypeError, ValueError, OverflowError):
        return None, (
            said(
                "The account of the calculation kept with this finding is damaged. Run "
                "lostpol backfill to have it written anew."
            )
        )


def _fed_t(material: Material) -> float | None:
    """Sucrose fed in the hours of the finding [t]."""
    if material.minutes is None:
        return None
    rows = slice(*(material.index_of(material.finding[name]) for name in ("started", "ended")))
    fed = material.minutes.station["sucrose_feed_kg_h"][rows]
    fed = fed[np.isfinite(fed)]
    return float(fed.sum()) / 60_000.0 if len(fed) else None


def _run_words(material: Material) -> list[tuple[str, str]]:
    run = material.run
    if run is None:
        return []
    zone = ZoneInfo(material.mill.zone)
    pairs = run["multiplier_pairs"]
    return [
        (said("finding"), str(material.finding["finding_id"])),
        (said("run"), str(run["run_id"])),
        (said("searched"), span_words(run["window_start"], run["window_end"], zone)),
        (
            said("multiplier"),
            figure(run["multiplier"], ".3g")
            + (said(", from {pairs} samples", pairs=count(pairs)) if pairs else ""),
        ),
        (said("description"), str(run["config_hash"])),
        (said("readings"), str(run["inputs_hash"])),
    ]
