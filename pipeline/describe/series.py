"""The sections of a draft for tags and lab series, one each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from features.base import Quantity
from pipeline.describe.lab import KINDS, LabGuess, LabKind
from pipeline.intake import quoted, remark
from pipeline.mill import lab_change
from pipeline.places import (
    MUD_DENSITY_KG_M3,
    Guess,
    Point,
    TagLook,
    exported_change,
    has_unit,
    is_height,
    is_mass,
)

#: Unit taken where an export names none, and range beyond which a reading cannot be (inside
#: unit, common practice).
_USUAL: Final[dict[Quantity, tuple[str, float, float]]] = {
    "flow": ("m3/h", 0.0, 1500.0),
    "temperature": ("degC", 5.0, 140.0),
    "ph": ("pH", 3.5, 12.0),
    "level": ("%", 0.0, 105.0),
    "mud_level": ("%", 0.0, 105.0),
    "brix": ("%", 3.0, 70.0),
    "turbidity": ("NTU", 0.0, 2000.0),
    "conductivity": ("mS/cm", 0.0, 30.0),
    "steam_pressure": ("kPa", 20.0, 500.0),
    "cane_rate": ("t/h", 0.0, 1500.0),
    "imbibition_flow": ("m3/h", 0.0, 800.0),
    "lime_flow": ("L/h", 0.0, 30000.0),
    "flocculant_flow": ("L/h", 0.0, 10000.0),
}
_STEPPED: Final = frozenset({"lime_flow", "flocculant_flow"})
_SURE_WORDS: Final = {
    "likely": "likely",
    "perhaps": "perhaps: CONFIRM",
    "unsure": "unsure: CONFIRM",
}


def tag_lines(guesses: Sequence[Guess]) -> list[str]:
    """Lines for historian tags: those with a place, then set-points and the rest as comments."""
    placed = [g for g in guesses if g.point is not None and g.role != "set_point"]
    lines = ["# Historian tags."] if guesses else []
    for guess in sorted(placed, key=lambda g: _order(g.point, g.role, g.tag.name)):
        lines += ["", *_one_tag(guess)]
    held = [g for g in guesses if g.role == "set_point"]
    if held:
        lines += ["", "# Set-points: what other tags are held at; no measurements, and not pulled."]
    for guess in held:
        words = f"# {quoted(guess.tag.name)} is the set-point of {quoted(guess.of)}: {guess.why}."
        lines.append(remark(words))
    unknown = [g for g in guesses if g.point is None]
    if unknown:
        lines += ["", "# Tags without a place here. Fill in quantity and place, or leave them out."]
    for guess in unknown:
        lines += ["", remark(f"# {guess.why}."), *_unknown(guess.tag)]
    return lines


def _order(point: Point | None, role: str, name: str) -> tuple[str, str, bool, str]:
    if point is None:
        return ("", "", False, name)
    return (point.place, point.quantity, role == "second", name)


def _one_tag(guess: Guess) -> list[str]:
    point, tag = guess.point, guess.tag
    if point is None:
        return []
    lines = [
        remark(f"# {_SURE_WORDS[guess.sure]}. {guess.why}."),
        f"[tags.{quoted(tag.name)}]",
        f'quantity = "{point.quantity}"',
        f'place = "{point.place}"',
    ]
    if point.port:
        lines.append(f'port = "{point.port}"')
    if guess.role == "second" and guess.of:
        lines.append(f"beside = {quoted(guess.of)}")
    lines += _unit_and_range(guess, point)
    if guess.interpolation == "step":
        lines.append(remark(f'interpolation = "step"  # {guess.run}'))
    lines.append(f"every_s = {_number(max(round(tag.every_s, 1), 1.0))}")
    return lines


def _unit_and_range(guess: Guess, point: Point) -> list[str]:
    """Unit, range and what else it takes to turn the unit into the one kept inside."""
    tag = guess.tag
    usual, low, high = _USUAL[point.quantity]
    known = has_unit(tag)
    unit = guess.unit or (tag.unit if known else usual)
    said = ""
    if not known and point.quantity != "ph":
        said = "  # guessed, the export names none: CONFIRM"
    elif known and unit != tag.unit:
        said = "  # guessed: such a level must be a gauge pressure: CONFIRM"
    lines = [f"unit = {quoted(unit)}{said}"]
    if is_height(point.quantity, unit):
        full = tag.middle if point.place == "settler" and point.quantity == "level" else tag.high
        ends = [min(0.0, tag.low), 1.5 * max(tag.high, 1e-3)]
        lines.append(
            f"height_m = {_number(max(full, 1e-3))}  # CONFIRM: the height that counts as full"
        )
    else:
        change = exported_change(point.quantity, unit)
        ends = (
            sorted((end - change.offset) / change.scale for end in (low, high))
            if change
            else [low, high]
        )
    if is_mass(point.quantity, unit) and (point.port == "mud" or point.quantity in _STEPPED):
        density = MUD_DENSITY_KG_M3 if point.port == "mud" else 1000.0
        lines.append(f"density_kg_m3 = {density}  # CONFIRM")
    # What the tag itself shows is possible, unless it is far outside what can be.
    ends = [min(ends[0], tag.low), max(ends[1], tag.high)]
    return [*lines, f"range = [{_number(ends[0])}, {_number(ends[1])}]"]


def _unknown(tag: TagLook) -> list[str]:
    return [
        f"# [tags.{quoted(tag.name)}]",
        '# quantity = "other"',
        '# place = ""',
        f"# unit = {quoted(tag.unit)}",
        f"# range = [{_number(tag.low)}, {_number(tag.high)}]",
    ]


def kept_lines(
    guesses: Sequence[Guess], lab: Sequence[LabGuess], pooled: Collection[str] = ()
) -> list[str]:
    """One tag kept as a reading somewhere in the mill, where no tag or series has a place.

    A description needs one at least; as it is kept, no physics uses it.
    """
    placed = any(g.point is not None and g.role != "set_point" for g in guesses)
    if placed or any(g.analyte is not None and g.place is not None for g in lab):
        return []
    # One of several juices would be asked about at each pull.
    tags = [g.tag for g in guesses] + [g.tag for g in lab]
    tag = min(tags, key=lambda tag: tag.name in pooled)
    low, high = _ends(tag.low, tag.high)
    return [
        "# No tag or series could be given a place. So that this file loads, one stays in it as a",
        "# reading somewhere in the mill. CONFIRM: say of each what it measures, and where.",
        f"[tags.{quoted(tag.name)}]",
        'quantity = "other"',
        'place = "mill"',
        f"unit = {quoted(tag.unit)}",
        f"range = [{_number(low)}, {_number(high)}]",
        f"every_s = {_number(max(round(tag.every_s, 1), 1.0))}",
    ]


def _ends(low: float, high: float) -> tuple[float, float]:
    """Range of a tag of which nothing is known: what it shows, and as much again on each side."""
    wide = max(high - low, 0.1 * abs(high), 1.0)
    return low - wide, high + wide


def lab_lines(lab: Sequence[LabGuess]) -> list[str]:
    """Lines for laboratory series."""
    lines = ["# Laboratory series. CONFIRM unit and standard error of each."] if lab else []
    for guess in lab:
        name, tag = quoted(guess.tag.name), guess.tag
        if guess.analyte is None or guess.place is None:
            told = f"# Not placed: {tag.name} (usual level {tag.middle:.3g}): {guess.why}."
            lines += ["", remark(told)]
            continue
        kind = KINDS[guess.analyte]
        lines += ["", remark(f"# {guess.why}."), f"[lab.{name}]"]
        lines += [f'analyte = "{guess.analyte}"', f'place = "{guess.place}"']
        if guess.port:
            lines.append(f'port = "{guess.port}"')
        unit = "%" if guess.basis != "juice" else tag.unit or kind.unit
        sure = tag.unit or guess.analyte == "ph"
        lines.append(f"unit = {quoted(unit)}" + ("" if sure else "  # CONFIRM: none is given"))
        lines.append(f"range = {_lab_range(guess, kind, unit)}")
        lines.append(kind.error)
        if guess.basis != "juice":
            lines.append(f'basis = "{guess.basis}"')
        if guess.period_h:
            lines.append(f"period_h = {guess.period_h:g}")
    return lines


def _lab_range(guess: LabGuess, kind: LabKind, unit: str) -> str:
    """Range of a kind in the unit of the series, as wide as its results."""
    change = lab_change(guess.analyte, unit) if guess.analyte else None
    ends = (kind.low, kind.high)
    if change is not None:
        low, high = sorted((end - change.offset) / change.scale for end in ends)
        ends = (low, high)
    return f"[{_number(min(ends[0], guess.tag.low))}, {_number(max(ends[1], guess.tag.high))}]"


def _number(value: float) -> str:
    """Number as TOML writes it, with no more digits than matter."""
    return repr(float(f"{value:.4g}"))
