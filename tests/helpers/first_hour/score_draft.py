"""A drafted description against what is true: places, units, interpolation, series."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

from features.base import Quantity
from first_hour.laboratory import plain
from first_hour.points import NO_PORT, NO_PORT_QUANTITIES
from first_hour.spec import LabTruth, TagTruth, Truth
from pipeline.mill import signal_change


@dataclass
class Score:
    """Counts by name, and a line for each thing that is not right."""

    counts: Counter[str] = field(default_factory=Counter)
    lines: list[str] = field(default_factory=list)

    def add(self, what: str, line: str = "") -> None:
        """Count one, and say why where it is not right."""
        self.counts[what] += 1
        if line:
            self.lines.append(f"{what}: {line}")


def _port(quantity: str, place: str, port: str) -> str:
    return "" if place in NO_PORT or quantity in NO_PORT_QUANTITIES else port


def _at(drafted: Mapping[str, Any]) -> str:
    port = drafted.get("port", "")
    return f"{drafted.get('quantity')} of {drafted.get('place')}{' ' + port if port else ''}"


def _truly(truth: TagTruth) -> str:
    if truth.second_of:
        return f"a second of {truth.second_of}"
    if truth.point is None:
        return truth.why
    return f"{truth.point.quantity} of {truth.point.place} {truth.point.port}".rstrip()


def same_point(drafted: Mapping[str, Any], truth: TagTruth) -> bool:
    """Whether a draft says what the tag truly measures, and where."""
    point = truth.point
    quantity, place = str(drafted.get("quantity")), str(drafted.get("place"))
    if point is None or quantity != point.quantity:
        return False
    allowed = ((point.place, point.port), *point.also)
    told = (place, _port(quantity, place, str(drafted.get("port", ""))))
    return told in [(p, _port(quantity, p, port)) for p, port in allowed]


def same_unit(quantity: str, drafted: str, true: str) -> bool:
    """Whether two spellings of a unit mean the same to the tool itself."""
    if quantity not in get_args(Quantity):
        return False
    a, b = (signal_change(quantity, unit) for unit in (drafted, true))
    if a is None or b is None:
        return a is b and drafted.strip().casefold() == true.strip().casefold()
    return abs(a.scale - b.scale) < 1e-6 * abs(b.scale) and abs(a.offset - b.offset) < 1e-3


def _second(name: str, truth: TagTruth, tags: Mapping[str, Mapping[str, Any]]) -> bool:
    """Whether one of a pair stands beside the other, whichever way round; strangers are out."""
    mine, first = tags[name], tags.get(truth.second_of, {})
    return (
        bool(mine.get("beside"))
        or first.get("beside") == name
        or not first
        or not same_point(first, truth)
    )


def _beside_a_stranger(name: str, drafted: Mapping[str, Any], truth: Truth) -> bool:
    other = drafted.get("beside")
    if not other:
        return False
    pair = (truth.tags[name].second_of, getattr(truth.tags.get(str(other)), "second_of", ""))
    return str(other) != pair[0] and name != pair[1]


def score_tags(tags: Mapping[str, Mapping[str, Any]], truth: Truth) -> Score:
    """Tags with a place and without, units and interpolation of those that are placed right."""
    score = Score()
    for name, true in truth.tags.items():
        drafted = tags.get(name)
        kind = "tag" if true.point is not None else "none"
        score.add(f"{kind} all")
        if drafted is None or drafted.get("quantity") == "other":
            score.add(f"{kind} not placed", f"{name}, {_truly(true)}" if kind == "tag" else "")
            continue
        placed = same_point(drafted, true) and not _beside_a_stranger(name, drafted, truth)
        if not placed or (true.second_of and not _second(name, true, tags)):
            beside = f", beside {drafted['beside']}" if drafted.get("beside") else ""
            told = f"{name}: drafted {_at(drafted)}{beside}, is {_truly(true)}"
            score.add(f"{kind} wrong", told)
            continue
        score.add("tag right")
        _details(name, drafted, true, score)
    for name in tags.keys() - truth.tags.keys():
        score.add("none wrong", f"{name}: no such tag")
    return score


def _details(name: str, drafted: Mapping[str, Any], true: TagTruth, score: Score) -> None:
    unit = str(drafted.get("unit", ""))
    right = same_unit(str(drafted["quantity"]), unit, true.unit)
    score.add("unit right" if right else "unit wrong",
              "" if right else f"{name}: {unit!r}, is {true.unit!r}")  # fmt: skip
    if true.interpolation == "any":
        return
    told = str(drafted.get("interpolation", "linear"))
    right = told == true.interpolation
    score.add("held right" if right else "held wrong",
              "" if right else f"{name}: {told}, is {true.interpolation}")  # fmt: skip


def matched(lab: Mapping[str, Any], truth: Truth) -> dict[str, LabTruth]:
    """Drafted series by name, with what they truly are; strangers are left out."""
    by_name = {name: true for true in truth.lab for name in true.names}
    return {name: by_name[plain(name)] for name in lab if plain(name) in by_name}


def score_lab(lab: Mapping[str, Mapping[str, Any]], truth: Truth) -> Score:
    """Series of the laboratory: right, wrong, missing; of those right, basis and period."""
    score, found = Score(), matched(lab, truth)
    for name, true in found.items():
        drafted = lab[name]
        place = str(drafted.get("place"))
        told = (drafted.get("analyte"), place, "" if place in NO_PORT else drafted.get("port", ""))
        is_so = (true.analyte, true.place, "" if true.place in NO_PORT else true.port)
        if told != is_so:
            score.add("lab wrong", f"{name}: drafted {told}, is {is_so}")
            continue
        score.add("lab right")
        extra = (drafted.get("basis", "juice"), float(drafted.get("period_h", 0.0)))
        if extra == (true.basis, true.period_h):
            score.add("extra right", "")
        else:
            score.add("extra wrong", f"{name}: {extra}, is {(true.basis, true.period_h)}")
    missing = [t for t in truth.lab if t not in found.values()]
    for true in missing:
        score.add("lab missing", f"{true.names[0]} ({true.analyte})")
    for name in lab.keys() - found.keys():
        score.add("lab invented", name)
    score.counts["lab all"] = len(truth.lab)
    return score
