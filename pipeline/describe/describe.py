"""Drafts a mill's description from its exports, for the user to confirm line by line.

The draft loads as it stands. What is guessed carries its reason and how sure it is; what cannot
be known from exports, such as volumes, is marked CONFIRM.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.base import ConfigError, Progress, silent
from pipeline.describe.draft import Draft
from pipeline.describe.guess import guess_tags
from pipeline.describe.lab import guess_lab, is_lab
from pipeline.describe.look import FileLook, TagLook, look
from pipeline.describe.series import lab_lines, quoted, remark, tag_lines
from pipeline.describe.train import target_lines, train_lines
from pipeline.mill import zone_faults

#: Readings in an hour, and how many times them, that tell a clock change (estimates).
_TELLING: Final = 10
_DOUBLED: Final = 1.5


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
        tag_lines(guesses),
        lab_lines(lab),
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
