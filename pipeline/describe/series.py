"""The sections of a draft for tags and lab series, one each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from features.base import Quantity
from pipeline.describe.guess import Guess, Point
from pipeline.describe.lab import KINDS, LabGuess
from pipeline.describe.look import TagLook
from pipeline.mill import signal_change

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


def quoted(text: str) -> str:
    """Foreign text as a TOML string: nothing in it can end the string or the line."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in plain) + '"'


def remark(text: str) -> str:
    """Text fit for a comment: one line of printable characters."""
    return "".join(c if c.isprintable() else " " for c in text)[:160]


def tag_lines(guesses: Sequence[Guess]) -> list[str]:
    """Lines for historian tags: those with a place first, then the unknown as comments."""
    known = sorted(
        (g for g in guesses if g.point is not None), key=lambda g: _order(g.point, g.tag.name)
    )
    lines = ["# Historian tags."] if guesses else []
    for guess in known:
        lines += ["", *_one_tag(guess)]
    for guess in guesses:
        if guess.point is None:
            lines += [
                "",
                remark(f"# Unknown: {guess.why}. Fill in place, or leave it out."),
                *_unknown(guess.tag),
            ]
    return lines


def _order(point: Point | None, name: str) -> tuple[str, str, str]:
    return (point.place, point.quantity, name) if point is not None else ("", "", name)


def _one_tag(guess: Guess) -> list[str]:
    point, tag = guess.point, guess.tag
    if point is None:
        return []
    usual, low, high = _USUAL[point.quantity]
    unit = tag.unit or usual
    change = signal_change(point.quantity, unit)
    ends = (
        sorted((end - change.offset) / change.scale for end in (low, high))
        if change
        else [low, high]
    )
    # What the tag itself shows is possible, unless it is far outside what can be.
    ends = [min(ends[0], tag.low), max(ends[1], tag.high)]
    lines = [
        remark(f"# {_SURE_WORDS[guess.sure]}. {guess.why}."),
        f"[tags.{quoted(tag.name)}]",
        f'quantity = "{point.quantity}"',
        f'place = "{point.place}"',
    ]
    if point.port:
        lines.append(f'port = "{point.port}"')
    lines.append(
        f"unit = {quoted(unit)}" + ("" if tag.unit else "  # CONFIRM: the export names none")
    )
    lines.append(f"range = [{_number(ends[0])}, {_number(ends[1])}]")
    if point.quantity in _STEPPED:
        lines.append('interpolation = "step"')
    lines.append(f"every_s = {_number(max(round(tag.every_s, 1), 1.0))}")
    return lines


def _unknown(tag: TagLook) -> list[str]:
    return [
        f"# [tags.{quoted(tag.name)}]",
        '# quantity = "other"',
        '# place = ""',
        f"# unit = {quoted(tag.unit)}",
        f"# range = [{_number(tag.low)}, {_number(tag.high)}]",
    ]


def lab_lines(lab: Sequence[LabGuess]) -> list[str]:
    """Lines for laboratory series."""
    lines = (
        ["# Laboratory series, known by their names. CONFIRM unit and standard error."]
        if lab
        else []
    )
    for guess in lab:
        name = quoted(guess.tag.name)
        if guess.analyte is None or guess.place is None:
            lines += ["", f"# Unknown: {remark(name)} (usual level {guess.tag.middle:.3g})."]
            continue
        kind = KINDS[guess.analyte]
        lines += ["", f"[lab.{name}]", f'analyte = "{guess.analyte}"', f'place = "{guess.place}"']
        if guess.port:
            lines.append(f'port = "{guess.port}"')
        lines.append(f"unit = {quoted(guess.tag.unit or kind.unit)}")
        high = kind.high
        if guess.basis != "juice":
            # Thin juice is an eighth to a sixth solids: a share of these is so much more.
            lines.append(f'basis = "{guess.basis}"')
            high = min(8.0 * high, 100.0)
        lines.append(f"range = [{_number(kind.low)}, {_number(high)}]")
        lines.append(kind.error)
    return lines


def _number(value: float) -> str:
    """Number as TOML writes it, with no more digits than matter."""
    return repr(float(f"{value:.4g}"))
