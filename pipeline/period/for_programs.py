"""The answer about a period for programs: tonnes, times in UTC."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from models.account import PeriodAccount, Tonnes, Touching, VesselPart
from pipeline.period.answered import Answer, not_computed, scaled
from pipeline.period.sentence import moved_as_data, named_as_data


def as_data(found: Answer) -> dict[str, Any]:
    """The answer as plain numbers, words and lists: tonnes [t], hours, times in UTC.

    ``lost_t`` is ``usual_t`` and the parts of ``by_driver`` together; ``lost_t_low`` and so on are
    90 % intervals. ``moved_first`` begins with what is named, then goes by time.
    """
    account = found.account
    return {
        "from": found.window.start.isoformat(),
        "to": found.window.end.isoformat(),
        "zone": found.mill.zone,
        "sentence": found.sentence,
        **_totals(account),
        "unknown_h": round(found.reckoned.unknown_h, 4),
        "standing_h": round(account.standing_h, 4),
        "by_vessel": [_vessel(part) for part in account.by_vessel],
        "by_driver": [
            {"driver": part.driver} | _interval("above_usual_t", part.above_usual)
            for part in account.by_driver
        ],
        "moved_first": _moved(found),
        "named": _named(found),
        "sensors": _sensors(found),
        "findings": [_finding(item) for item in account.findings],
        "known": [
            {
                "note_id": note.note_id,
                "from": note.started.isoformat(),
                "to": note.ended.isoformat(),
                "kind": note.kind,
                "text": note.text,
                "by": note.author,
            }
            for note in found.notes
        ],
        "notices": [
            {
                "kind": row["kind"],
                "from": row["started"].isoformat(),
                "to": row["ended"].isoformat(),
                "text": row["text"],
            }
            for row in found.notices
        ],
        "not_computed": [{"what": what, "why": why} for what, why in not_computed(found)],
        "beside": _beside(found),
    }


def _totals(account: PeriodAccount) -> dict[str, Any]:
    return {
        **_interval("lost_t", account.lost),
        "lost_pct": account.lost_pct,
        "fed_t": account.fed_t,
        "usual_t": account.usual_t,
        "target_t": account.target_t,
        **_interval("above_usual_t", account.above_usual),
        **_interval("above_target_t", account.above_target),
    }


def _interval(name: str, amount: Tonnes) -> dict[str, float]:
    return {name: amount.mid, f"{name}_low": amount.low, f"{name}_high": amount.high}


def _vessel(part: VesselPart) -> dict[str, Any]:
    return {
        "vessel": part.zone,
        **_interval("lost_t", part.lost),
        "usual_t": part.usual_t,
        "target_t": part.target_t,
        **_interval("above_usual_t", part.above_usual),
        "by_driver": dict(part.by_driver),
        "not_measured_h": round(part.not_measured_h, 4),
    }


def _named(found: Answer) -> dict[str, Any] | None:
    if found.told is None or found.known is None:
        return None
    return named_as_data(found.told, found.known)


def _moved(found: Answer) -> list[dict[str, Any]]:
    """Every signal that clearly moved, what is named first at the head, then in order of time."""
    if found.told is None or found.known is None:
        return []
    named = found.told.named
    clear = [m for m in found.told.moves if m.departure.clear]
    if named is not None:
        clear = [named.first, *(m for m in clear if m is not named.first)]
    return [moved_as_data(item, found.told, found.known) for item in clear]


def _sensors(found: Answer) -> list[dict[str, Any]]:
    """The worst day of every tag that was not well."""
    grades = {"silent": 0, "sick": 1, "watch": 2}
    rows = [r for r in found.sensors.to_dicts() if r["verdict"] in grades]
    worst: dict[str, Mapping[str, Any]] = {}
    for row in sorted(rows, key=lambda r: (grades[r["verdict"]], r["day"])):
        worst.setdefault(row["tag"], row)
    return [
        {"tag": tag, "verdict": row["verdict"], "day": row["day"].isoformat(), "text": row["text"]}
        for tag, row in sorted(worst.items())
    ]


def _finding(item: Touching) -> dict[str, Any]:
    return {
        "finding_id": item.finding_id,
        "cause": item.cause,
        "section": item.section,
        "started": item.started.isoformat(),
        "ended": item.ended.isoformat(),
        "lost_t": item.lost_t,
        **_interval("in_period_t", item.here),
    }


def _beside(found: Answer) -> dict[str, Any] | None:
    other = found.beside
    if other is None:
        return None
    account = other.account
    return {
        "from": other.window.start.isoformat(),
        "to": other.window.end.isoformat(),
        **_totals(account),
        # What this period would have lost at the other one's loss for each tonne fed.
        "scaled_lost_t": scaled(found.account, account),
        "by_vessel": [_vessel(part) for part in account.by_vessel],
        "by_driver": [
            {"driver": part.driver} | _interval("above_usual_t", part.above_usual)
            for part in account.by_driver
        ],
    }
