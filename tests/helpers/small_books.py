"""Small exports that nobody has described, written by hand: of a historian and of a laboratory."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import xlsxwriter

from pipeline.intake import Answers
from pipeline.intake.taken import Taken, take

#: Tags of a small station, with their usual levels.
LEVELS = {"MX-FT-101": 300.0, "LM-AT-212": 7.6, "ST-TT-330": 97.0}
#: pH, Brix and reducing sugars of three juices.
JUICES = {
    "Mixed juice": (5.4, 15.0, 3.1),
    "Limed juice": (7.6, 14.6, 3.2),
    "Clear juice": (6.9, 14.2, 3.3),
}
START = datetime(2025, 10, 6)  # noqa: DTZ001 (as a clock shows)
ISO = "%Y-%m-%d %H:%M"

Rows = list[list[str]]


def moments(count: int, step_min: float = 10.0) -> list[datetime]:
    return [START + timedelta(minutes=step_min * k) for k in range(count)]


def near(rng: random.Random, level: float, digits: int = 2) -> str:
    """A reading near its level."""
    return f"{level * (1.0 + rng.gauss(0.0, 0.01)):.{digits}f}"


def long_rows(
    heads: Sequence[str] = ("time", "tag", "value"),
    levels: Mapping[str, float] = LEVELS,
    *,
    count: int = 40,
    pattern: str = ISO,
    more: Iterable[str] = (),
    seed: int = 1,
) -> Rows:
    """One reading a row; `more` are cells of further columns, in turn."""
    rng, extra = random.Random(seed), list(more)
    rows = [list(heads)]
    for k, at in enumerate(moments(count)):
        for tag, level in levels.items():
            cells = [f"{at:{pattern}}", tag, near(rng, level)]
            rows.append([*cells, extra[k % len(extra)]] if extra else cells)
    return rows


def wide_rows(
    heads: Sequence[str] = ("time", *LEVELS),
    levels: Mapping[str, float] = LEVELS,
    *,
    count: int = 40,
    pattern: str = ISO,
    seed: int = 1,
) -> Rows:
    """One column a tag."""
    rng = random.Random(seed)
    rows = [[f"{at:{pattern}}", *(near(rng, v) for v in levels.values())] for at in moments(count)]
    return [list(heads), *rows]


def pair_rows(count: int = 40, seed: int = 1) -> Rows:
    """A column of times beside the values of each tag."""
    rng = random.Random(seed)
    rows = [[cell for tag in LEVELS for cell in (f"{tag} time", tag)]]
    for k in range(count):
        row = []
        for j, level in enumerate(LEVELS.values()):
            at = START + timedelta(minutes=10 * k, seconds=7 * j)
            row += [f"{at:%Y-%m-%d %H:%M:%S}", near(rng, level)]
        rows.append(row)
    return rows


def book_rows(
    heads: Sequence[str] = ("Date", "Time", "Sample", "pH", "Brix", "RS"),
    juices: Mapping[str, tuple[float, float, float]] = JUICES,
    *,
    count: int = 40,
    every_h: float = 4.0,
    seed: int = 1,
) -> Rows:
    """A book of the laboratory: a row a sample, a column an analysis."""
    rng = random.Random(seed)
    rows = [list(heads)]
    for at in moments(count, 60.0 * every_h):
        for juice, levels in juices.items():
            values = [near(rng, v) for v in levels]
            rows.append([f"{at:%Y-%m-%d}", f"{at:%H:%M}", juice, *values])
    return rows


def text_of(rows: Rows, delimiter: str = ",", *, decimal: str = ".") -> str:
    """Rows as delimited text; numbers alone get the mark of decimals."""
    lines = []
    for row in rows:
        cells = [
            c.replace(".", decimal) if c.replace(".", "", 1).lstrip("-").isdigit() else c
            for c in row
        ]
        odd = (delimiter, '"', "\n")
        cells = ['"' + c.replace('"', '""') + '"' if any(x in c for x in odd) else c for c in cells]
        lines.append(delimiter.join(cells))
    return "\n".join(lines) + "\n"


def put(path: Path, rows: Rows, delimiter: str = ",", *, decimal: str = ".") -> Path:
    """Write rows as text."""
    path.write_text(text_of(rows, delimiter, decimal=decimal), encoding="utf-8")
    return path


def put_book(path: Path, sheets: Mapping[str, Rows], hidden: Sequence[str] = ()) -> Path:
    """Write a workbook; numbers as numbers, all else as text."""
    with xlsxwriter.Workbook(str(path), {"strings_to_numbers": True}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            if name in hidden:
                sheet.hide()
            for y, row in enumerate(rows):
                for x, cell in enumerate(row):
                    sheet.write(y, x, cell)
    return path


def looked_at(path: Path, zone: str = "UTC", **given: object) -> Taken:
    """How a file is proposed to be read, with the likeliest answers."""
    return take(path, given, Answers(zone))
