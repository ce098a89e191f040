"""The top of a table: which row holds the headings, which the units, where readings begin.

Exports put titles, periods and zones above their headings, and units or descriptions below.
The headings are told by what stands under them: moments in one column.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.mill import is_unit

#: Rows looked at from the top, and rows of units and descriptions that may follow the headings.
TOP_ROWS: Final = 120
_SUBHEADS: Final = 3

TIME_NAMES: Final = (
    "ts_utc", "time", "timestamp", "datetime", "date_time", "date/time", "ts", "time_utc",
    "timestamp_utc", "datetime_utc", "date_time_utc", "sampled", "sampled_at", "date", "zeit",
    "zeitstempel", "zeitpunkt", "datum", "fecha", "fecha_hora", "hora", "data", "data_hora",
)  # fmt: skip
DATE_NAMES: Final = ("date", "datum", "fecha", "data", "day", "tag_datum")

_NUMBER: Final = re.compile(r"\s*[<>]?\s*[+-]?[\d.,'  \s]*\d[\d.,]*(?:[eE][+-]?\d+)?\s*")
_MOMENT: Final = re.compile(
    r"\s*(?:\d{1,4}[-./ ]\s?(?:\d{1,2}|[A-Za-z]{3,9})[-./ ,]\s?\d{1,4}"
    r"|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}|\d{1,2}:\d{2}|\d{8}[T ]?\d{4})"
)
_EPOCH_OR_SERIAL: Final = re.compile(r"\s*(?:\d{5}(?:[.,]\d+)?|\d{9,19}(?:[.,]\d+)?)\s*")
_BRACKET: Final = re.compile(
    r"^(.*?)\s*(?:[\[({]\s*(?=[^\[\](){}]{1,20}[\])}]$)|\[\s*(?=[^\[\]]{1,20}\]$))(.{1,20}?)\s*[\])}]$",
    re.DOTALL,
)
_UNIT_LINE: Final = re.compile(
    r"(?:engineering |eng\.? )?(?:units?|uom|eu|einheit(?:en)?|unidad(?:es)?|unidades?|unités?)"
    r"(?: of measure| de medida| de mesure)?(?:\s*[:=]\s*(.{0,40}))?",
    re.IGNORECASE,
)
#: Headings that a frame would take for several columns.
_MANY: Final = re.compile(r"\*|\^.*\$", re.DOTALL)
_OPEN: Final = {"[": "]", "(": ")", "{": "}"}


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above the readings of a table.

    Attributes
    ----------
    names : tuple of str
        One name a column, each once; empty for a column without a heading.
    tags : tuple of str
        What each column is called, without its unit; two columns may be called the same.
    units : tuple of str
        Unit of each column as written; empty where there is none.
    heading_row, first_row : int
        Positions of the headings and of the first reading, from 0.
    sure : bool
        Moments stand under the headings.
    words : tuple of str
        What the row right below the headings, or right above them, says of each column where it
        holds words; empty where there is no such row.
    above, below : tuple of tuple of str
        Cells of the rows above the headings, and of those between them and the first moment.
    unheaded : int
        Columns at the end that rows have beyond the headings, all of them empty.
    unit : str
        Unit that a line above the headings states of all readings; empty where none does.
    """

    names: tuple[str, ...]
    tags: tuple[str, ...]
    units: tuple[str, ...]
    heading_row: int
    first_row: int
    sure: bool
    words: tuple[str, ...] = ()
    above: tuple[tuple[str, ...], ...] = ()
    below: tuple[tuple[str, ...], ...] = ()
    unheaded: int = 0
    unit: str = ""


def plain_name(name: str) -> str:
    """Heading in the spelling used for look-up: small, blanks as ``_``, no bracket."""
    found = _BRACKET.match(name.strip()[:200])
    text = found[1] if found and found[1].strip() else name
    return text.strip().casefold().replace(" ", "_")


def is_moment(cell: str) -> bool:
    """Tell whether a cell looks like a date, a time of day or both."""
    return bool(_MOMENT.match(cell[:60]))


def is_number(cell: str) -> bool:
    """Tell whether a cell looks like a number in any spelling."""
    return len(cell) <= 60 and bool(_NUMBER.fullmatch(cell))


def find_head(
    rows: Sequence[Sequence[str]], heading: int | None = None, upper: Sequence[str] = ()
) -> Head:
    """Find the headings among the first rows of a table.

    Parameters
    ----------
    rows : sequence of sequences of str
        The first rows, at least one.
    heading : int, optional
        Row of the headings where the mill's description names it, from 0.
    upper : sequence of str, optional
        Second level of headings above the one found, put before each column's own.
    """
    row, grade = (heading, 3) if heading is not None else _heading_row(rows)
    row = min(row, len(rows) - 1)
    titles = [cell.strip().lstrip("\ufeff") for cell in rows[row]]
    first = row + 1
    units: Sequence[str] = ()
    while first < len(rows) and first - row <= _SUBHEADS:
        kind = subhead(rows[first], titles)
        if kind is None or (kind == "words" and not _followed(rows, first, titles)):
            break
        units = [cell.strip() for cell in rows[first]] if kind == "units" else units
        first += 1
    units, words = _beside(rows, row, first, titles, units)
    unheaded = _unheaded(rows[first : first + 20], len(titles))
    titles += [""] * unheaded
    width = len(titles)
    tags, own = zip(*(parted(title) for title in titles), strict=True) if titles else ((), ())
    stated = [bare_unit(u) for u in units] + [""] * width
    if upper:
        tags = tuple(f"{u.strip()} {t}".strip() if u.strip() else t
                     for u, t in zip([*upper, *[""] * width], tags, strict=False))  # fmt: skip
        titles = list(tags)
    return Head(
        names=_each_once(titles),
        tags=tuple(tags),
        units=tuple(u or s for u, s in zip(own, stated, strict=False)),
        heading_row=row,
        first_row=first,
        sure=grade >= 2,
        words=tuple(words),
        above=tuple(tuple(c.strip() for c in r) for r in rows[:row]),
        below=_below(rows, row),
        unheaded=unheaded,
        unit=_unit_of_all(rows[:row]),
    )


def _heading_row(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Row of the headings and how sure that is (3: named time over moments, 0: a guess)."""
    best = (0, 0)
    for number, row in enumerate(rows[:TOP_ROWS]):
        cells = [cell for cell in row if cell.strip()]
        if len(cells) < 2:
            continue
        wordy = sum(not is_number(c) and not is_moment(c) for c in cells) >= 0.8 * len(cells)
        named = [k for k, cell in enumerate(row) if plain_name(cell.lstrip("\ufeff")) in TIME_NAMES]
        under = _moments_under(rows, number)
        grade = 0
        if named and wordy:
            grade = 3 if set(named) & under else 1
        elif wordy and under & {k for k, cell in enumerate(row) if cell.strip()}:
            grade = 2
        if grade > best[1]:
            best = (number, grade)
        if grade == 3:
            break
    return best


def _moments_under(rows: Sequence[Sequence[str]], heading: int) -> set[int]:
    """Columns with moments right under the headings, past rows of units."""
    for row in rows[heading + 1 : heading + 2 + _SUBHEADS]:
        found = {k for k, c in enumerate(row) if is_moment(c) or _EPOCH_OR_SERIAL.fullmatch(c)}
        if found:
            return found
        if sum(is_number(c) for c in row) > 1:
            return set()
    return set()


def subhead(row: Sequence[str], titles: Sequence[str]) -> Literal["units", "words"] | None:
    """Tell what a row below the headings is; None for readings."""
    cells = [cell.strip() for cell in row]
    parts = [bare_unit(c) for c in cells if c]
    if (
        not parts
        or any(is_moment(c) for c in parts)
        or any(is_number(c) and c != "1" for c in parts)
    ):
        return None
    known = sum(is_unit(c) for c in parts)
    times = [k for k, t in enumerate(titles) if plain_name(t) in TIME_NAMES and k < len(cells)]
    timed = any(cells[k] and plain_name(cells[k]) not in TIME_NAMES for k in times[:1])
    if known and 2 * known >= len(parts) - timed:
        return "units"
    return "words"


def _beside(
    rows: Sequence[Sequence[str]],
    row: int,
    first: int,
    titles: Sequence[str],
    units: Sequence[str],
) -> tuple[Sequence[str], Sequence[str]]:
    """Units of the row above the headings, where none stand below; and the words of either row."""
    words: Sequence[str] = ()
    for near in range(row + 1, min(first + 1, len(rows))):
        if not words and subhead(rows[near], titles) == "words":
            words = [cell.strip() for cell in rows[near]]
    above = [cell.strip() for cell in rows[row - 1]] if row else []
    held = [cell for cell in above[1:] if cell]
    if not held or len(above) > len(titles) or subhead(above, titles) is None:
        return units, words
    known = sum(is_unit(bare_unit(cell)) for cell in held)
    if not units and 2 * known >= len(held):
        return above, words
    return units, words or above


def _unit_of_all(above: Sequence[Sequence[str]]) -> str:
    """Unit that a line such as ``Unit: degF`` above the headings states."""
    for row in above:
        cells = [cell.strip() for cell in row if cell.strip()]
        found = _UNIT_LINE.fullmatch(cells[0]) if 0 < len(cells) <= 2 else None
        if found and (text := found[1] or " ".join(cells[1:])):
            return bare_unit(text)
    return ""


def _followed(rows: Sequence[Sequence[str]], row: int, titles: Sequence[str]) -> bool:
    """Whether a row of words is a second heading: units come next."""
    return row + 1 < len(rows) and subhead(rows[row + 1], titles) == "units"


def bare_unit(cell: str) -> str:
    """Unit without the brackets around it; those of ``kPa(g)`` are its own."""
    text = cell.strip()
    while len(text) > 1 and text[0] in _OPEN and text.endswith(_OPEN[text[0]]):
        if text.find(_OPEN[text[0]]) < len(text) - 1:
            break
        text = text[1:-1].strip()
    return text


def parted(title: str) -> tuple[str, str]:
    """Name and unit of a heading such as ``LT.AI212 [pH]``; no unit is empty."""
    found = _BRACKET.match(title) if len(title) <= 200 else None
    if found and found[1].strip() and is_unit(found[2]):
        return found[1].strip(), found[2].strip()
    return title, ""


def _each_once(titles: Sequence[str]) -> tuple[str, ...]:
    """Names made to differ by a number where headings repeat."""
    titles = [f"{title}_" if _MANY.fullmatch(title) else title for title in titles]
    seen: dict[str, int] = {}
    names = []
    for title in titles:
        count = seen.get(title, 0)
        seen[title] = count + 1
        names.append(f"{title}_duplicated_{count - 1}" if count else title)
    return tuple(names) if len(set(names)) == len(names) else tuple(
        f"{title} column {k}" for k, title in enumerate(titles, start=1))  # fmt: skip


def _below(rows: Sequence[Sequence[str]], heading: int) -> tuple[tuple[str, ...], ...]:
    """Rows between the headings and the first moment: more headings, units, descriptions."""
    found = []
    for row in rows[heading + 1 : heading + 1 + _SUBHEADS]:
        if subhead(row, rows[heading]) is None:
            break
        found.append(tuple(cell.strip() for cell in row))
    return tuple(found)


def _unheaded(rows: Sequence[Sequence[str]], titles: int) -> int:
    """Empty cells that most rows have beyond the headings; cells with something are no such."""
    widths = [len(row) for row in rows if any(cell.strip() for cell in row)]
    most = max(set(widths), key=widths.count) if widths else 0
    if most <= titles or any(cell.strip() for row in rows for cell in row[titles:]):
        return 0
    return most - titles
