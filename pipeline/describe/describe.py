"""Drafts a mill's description from its exports, for the user to confirm line by line.

The draft loads as it stands. What is guessed carries its reason and how sure it is; what cannot
be known from exports, such as volumes, is marked CONFIRM.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from features.base import Quantity
from pipeline.base import ConfigError, Progress, silent
from pipeline.describe.guess import Guess, Point, guess_tags
from pipeline.describe.lab import KINDS, LabGuess, guess_lab, is_lab
from pipeline.describe.look import FileLook, TagLook, look
from pipeline.describe.train import target_lines, train_lines
from pipeline.mill import signal_change, zone_faults

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
#: Readings in an hour, and how many times them, that tell a clock change (estimates).
_TELLING: Final = 10
_DOUBLED: Final = 1.5
_STEPPED: Final = frozenset({"lime_flow", "flocculant_flow"})
_SURE_WORDS: Final = {
    "likely": "likely",
    "perhaps": "perhaps: CONFIRM",
    "unsure": "unsure: CONFIRM",
}


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted description and what it rests on."""

    text: str
    guesses: tuple[Guess, ...]
    lab: tuple[LabGuess, ...]

    @property
    def placed(self) -> int:
        """Tags and lab series that got a place."""
        return sum(g.point is not None for g in self.guesses) + sum(
            g.place is not None for g in self.lab
        )


def describe_exports(
    files: Sequence[Path], name: str, zone: str | None, progress: Progress = silent
) -> Draft:
    """Draft a description from exports.

    Parameters
    ----------
    files : sequence of Path
        Exports of the station's tags and of the laboratory.
    name : str
        What the mill is called.
    zone : str or None
        IANA time zone of the plant; None takes UTC and says so.

    Raises
    ------
    ConfigError
        The zone is not known.
    DataError
        A file cannot be read, or holds nothing that can be described.
    """
    for fault in zone_faults(zone or "UTC", "--zone"):
        raise ConfigError(f"{fault.key}: {fault.problem}.", "command line", fault.cure)
    tags, tables = look(files, zone or "UTC", progress)
    guesses = guess_tags([tag for tag in tags if not is_lab(tag)])
    lab = guess_lab([tag for tag in tags if is_lab(tag)])
    parts = [
        _mill_lines(name, zone),
        _time_lines(tags, tables, zone),
        target_lines(guesses),
        train_lines(guesses, lab),
        _tag_lines(guesses),
        _lab_lines(lab),
    ]
    text = "\n".join(line for part in parts if part for line in [*part, ""])
    return Draft(text.rstrip("\n") + "\n", tuple(guesses), tuple(lab))


def draft_summary(draft: Draft) -> list[str]:
    """What was guessed, tag by tag, for a person at a terminal."""
    lines = []
    for guess in draft.guesses:
        point = guess.point
        spot = " ".join(p for p in (point.quantity, point.place, point.port) if p) if point else "?"
        lines.append(f"{remark(guess.tag.name)}: {spot} ({guess.sure})")
    for series in draft.lab:
        spot = f"{series.analyte} {series.place}" if series.place else "?"
        lines.append(f"{remark(series.tag.name)}: laboratory {spot}")
    total = len(draft.guesses) + len(draft.lab)
    return [*lines, f"{draft.placed} of {total} tags and lab series were given a place."]


def write_draft(draft: Draft, path: Path) -> None:
    """Write a draft to a new file.

    Raises
    ------
    ConfigError
        There is such a file already, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(draft.text)
    except FileExistsError as error:
        cure = "Name another file with --out; lostpol never overwrites a description."
        raise ConfigError("There is such a file already.", str(path), cure) from error
    except OSError as error:
        cure = "Name a file in a folder that exists and may be written to."
        raise ConfigError(
            f"The draft cannot be written: {error.strerror}.", str(path), cure
        ) from error


def quoted(text: str) -> str:
    """Foreign text as a TOML string: nothing in it can end the string or the line."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in plain) + '"'


def remark(text: str) -> str:
    """Text fit for a comment: one line of printable characters."""
    return "".join(c if c.isprintable() else " " for c in text)[:160]


def _mill_lines(name: str, zone: str | None) -> list[str]:
    key = re.sub(r"[^a-z0-9]+", "_", name.casefold()).strip("_")[:40] or "mill"
    key = key if key[0].isalpha() else f"mill_{key}"[:40]
    return [
        "# Drafted by lostpol describe from exports alone. Read every line; what is marked CONFIRM",
        "# was guessed and changes the tonnes. configs/template.toml explains every key.",
        "",
        "[mill]",
        f"name = {quoted(name[:80])}",
        f'key = "{key}"',
        f'zone = "{zone or "UTC"}"' + ("" if zone else "  # CONFIRM: the plant's IANA time zone"),
        f'store = "lostpol_store/{key}"',
        "sucrose_price_per_t = 500.0  # CONFIRM",
        'currency = "USD"  # CONFIRM',
    ]


def _time_lines(tags: Sequence[TagLook], tables: Sequence[FileLook], zone: str | None) -> list[str]:
    """What the exports say of time, as comments."""
    lines = ["# Time, as the exports have it:"]
    lines += [remark(f"# - {t.name}: {t.shape}, {t.times}") for t in tables[:20]]
    first = datetime.fromtimestamp(60 * min(int(t.minute[0]) for t in tags), UTC)
    last = datetime.fromtimestamp(60 * max(int(t.minute[-1]) for t in tags), UTC)
    local = ZoneInfo(zone or "UTC")
    span = " to ".join(f"{t.astimezone(local):%Y-%m-%d %H:%M}" for t in (first, last))
    lines.append(f"# Readings reach from {span} ({zone or 'UTC'}).")
    if any("without a zone" in table.times for table in tables):
        lines.append(
            f"# Times without a zone taken as {zone or 'UTC'}: CONFIRM, or give time_zone in an "
            "[[exports.layout]]."
        )
    if zone and all("without a zone" in table.times for table in tables):
        lines += _clock_change_lines(tags, local, first, last)
    return lines


def _clock_change_lines(
    tags: Sequence[TagLook], zone: ZoneInfo, first: datetime, last: datetime
) -> list[str]:
    """Whether the hour that clocks repeat comes twice, and the one they skip not at all.

    Read as local time, a repeated hour holds the readings of both its passes, in one of them or in
    each its own, and readings of a skipped hour land in the one after it; times that follow no
    clock change do the opposite.
    """
    hours = np.arange(int(first.timestamp()) // 3600, int(last.timestamp()) // 3600)
    offsets = [datetime.fromtimestamp(3600 * int(h), zone).utcoffset() for h in hours]
    lines = []
    for k, (before, after) in enumerate(pairwise(offsets)):
        if before is None or after is None or before == after:
            continue
        back = after < before
        start = 60 * int(hours[k] if back else hours[k + 1])
        usual = sum(_readings_in(t, start - 180, 60) for t in tags)
        if usual < _TELLING:
            continue
        length = 120 if back else 60
        twice = sum(_readings_in(t, start, length) for t in tags) > _DOUBLED * usual
        day = datetime.fromtimestamp(60 * start, zone)
        words = "local time, as taken" if twice == back else "not local time, but UTC or the like"
        lines.append(f"# The clock change of {day:%Y-%m-%d} speaks for {words}.")
    return lines


def _readings_in(tag: TagLook, start: int, length: int) -> int:
    return int(tag.count[(tag.minute >= start) & (tag.minute < start + length)].sum())


def _tag_lines(guesses: Sequence[Guess]) -> list[str]:
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


def _lab_lines(lab: Sequence[LabGuess]) -> list[str]:
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
        lines.append(f"range = [{_number(kind.low)}, {_number(kind.high)}]")
        lines.append(kind.error)
    return lines


def _number(value: float) -> str:
    """Number as TOML writes it, with no more digits than matter."""
    return repr(float(f"{value:.4g}"))
