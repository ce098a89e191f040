"""The station at one glance: vessels as plain shapes along the juice's way, with their counts.

The way runs in rows from left to right; what lies beside it (mud, cake, filtrate) has a row of
its own. Colours are the page's, by class, so that the dark page and the print see the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.etree import ElementTree as ET

from markupsafe import Markup

from pipeline.describe.sheet.stops import Stop

#: Outlines of the vessels in a box of 60 by 44, and what is drawn inside them.
_SHAPES: Final = {
    "mill": (
        "M4,10H56V38H4Z",
        "M12,24A6,6 0 1 0 24,24A6,6 0 1 0 12,24M36,24A6,6 0 1 0 48,24A6,6 0 1 0 36,24",
    ),
    "stream": ("M6,14H44L56,24L44,34H6Z", ""),
    "heater": ("M4,10H56V38H4Z", "M4,24H14L20,16L28,32L36,16L42,24H56"),
    "tank": ("M8,4V40H52V4", "M8,14H52"),
    "flash": ("M16,12Q16,2 30,2Q44,2 44,12V34L36,42H24L16,34Z", "M16,24H44"),
    "settler": ("M2,6H58V24L34,42H26L2,24Z", "M2,14H58"),
    "evaporator": (
        "M14,10Q14,2 30,2Q46,2 46,10V34Q46,42 30,42Q14,42 14,34Z",
        "M14,28H46M22,28V36M30,28V36M38,28V36",
    ),
}


#: What stands above a stream beside the juice's way.
_FROM: Final = {
    "mud": "from the settler",
    "filter_cake": "from the filters",
    "filtrate": "from the filters",
}


@dataclass(frozen=True, slots=True)
class Grid:
    """Columns at most, width of all, height of a row and of letters [px], letters in a cell."""

    columns: int
    width: int
    height: int
    font: int
    letters: int

    def fitted(self, stops: int) -> Grid:
        """With so many columns that the rows are about equally long."""
        rows = -(-stops // self.columns) or 1
        return replace(self, columns=-(-stops // rows) or 1)

    @property
    def cell(self) -> int:
        """Width of a cell [px]."""
        return self.width // self.columns


WIDE: Final = Grid(6, 984, 146, 13, 20)
NARROW: Final = Grid(3, 342, 142, 12, 15)
_GUTTER: Final = 14
_PIPE: Final = 52


def shape(kind: str) -> Markup:
    """Draw a vessel alone, to stand beside its name."""
    root = ET.Element("svg", {"viewBox": "0 0 60 44", "aria-hidden": "true", "class": "shape"})
    _outline(root, kind)
    return Markup(ET.tostring(root, encoding="unicode"))


def picture(stops: Sequence[Stop], grid: Grid) -> Markup:
    """Draw all stops; a cell is a link to what is said of it below.

    Parameters
    ----------
    stops : sequence of Stop
        In flow order; each is linked by its number here.
    grid : Grid
    """
    numbered = list(enumerate(stops))
    way = [pair for pair in numbered if not pair[1].side]
    side = [pair for pair in numbered if pair[1].side]
    grid = grid.fitted(len(way))
    rows = [way[i : i + grid.columns] for i in range(0, len(way), grid.columns)]
    side_rows = [side[i : i + grid.columns] for i in range(0, len(side), grid.columns)]
    height = grid.height * (len(rows) + len(side_rows))
    root = ET.Element(
        "svg",
        {
            "viewBox": f"0 0 {2 * _GUTTER + grid.width} {height}",
            "role": "img",
            "aria-label": "The drafted station in flow order; the text below says the same",
            "font-size": str(grid.font),
        },
    )
    for number, row in enumerate(rows):
        _pipes(root, number, len(row), number + 1 < len(rows), grid)
    for number, row in enumerate([*rows, *side_rows]):
        first = 0 if number < len(rows) else _below_settler(rows, len(row), grid)
        for column, (index, stop) in enumerate(row, start=first):
            _cell(root, stop, index, (column, number), grid)
    return Markup(ET.tostring(root, encoding="unicode"))


def _below_settler(rows: list[list[tuple[int, Stop]]], cells: int, grid: Grid) -> int:
    """Column of the settler, or the last from which so many cells fit."""
    places = [[stop.place for _, stop in row] for row in rows]
    column = next((row.index("settler") for row in places if "settler" in row), 0)
    return min(column, grid.columns - cells)


def _pipes(root: ET.Element, row: int, cells: int, goes_on: bool, grid: Grid) -> None:
    """Draw the juice's way through a row, and on to the beginning of the next."""
    y = row * grid.height + _PIPE
    left, right = _GUTTER, _GUTTER + cells * grid.cell
    start = left if row else left + grid.cell // 2
    end = right if goes_on else right - grid.cell // 2
    path = f"M{start},{y}H{end}"
    if goes_on:
        path += f"V{y + grid.height - _PIPE - 4}H4V{y + grid.height}H{left}"
    ET.SubElement(root, "path", {"d": path, "class": "pipe"})
    for cell in range(1, cells):
        x = left + cell * grid.cell
        ET.SubElement(root, "path", {"d": f"M{x - 4},{y - 5}l8,5l-8,5Z", "class": "arrow"})


def _outline(parent: ET.Element, kind: str) -> None:
    outer, inner = _SHAPES.get(kind, _SHAPES["tank"])
    ET.SubElement(parent, "path", {"d": outer, "class": "vessel"})
    if inner:
        ET.SubElement(parent, "path", {"d": inner, "class": "inside"})


def _cell(root: ET.Element, stop: Stop, index: int, at: tuple[int, int], grid: Grid) -> None:
    middle = _GUTTER + at[0] * grid.cell + grid.cell // 2
    top = at[1] * grid.height
    empty = not stop.cards and not stop.samples
    link = ET.SubElement(root, "a", {"href": f"#stop-{index}"})
    box = ET.SubElement(
        link,
        "g",
        {"transform": f"translate({middle - 30},{top + _PIPE - 24})"}
        | {"class": "empty" if empty else "held"},
    )
    _outline(box, stop.shape)
    _above(link, stop, middle, top, grid)
    y = top + _PIPE + 22 + grid.font
    lines = textwrap.wrap(stop.title, grid.letters, max_lines=2, placeholder=" …")
    for line in lines:
        _text(link, middle, y, line, "name")
        y += grid.font + 2
    words = [f"{stop.tags} tag{'s' * (stop.tags != 1)}"] if stop.tags else []
    words += [f"{len(stop.samples)} lab"] if stop.samples else []
    _text(link, middle, y, ", ".join(words) or "nothing found", "count")
    if stop.confirms:
        _text(link, middle, y + grid.font + 2, f"{stop.confirms} to confirm", "flag")


def _above(parent: ET.Element, stop: Stop, middle: int, top: int, grid: Grid) -> None:
    """Say what comes in from above, and whether a tag was found for it."""
    word = stop.inflow.removeprefix("milk of ").removesuffix(" water")
    word = f"{word}: no tag" if word and not stop.metered else word or _FROM.get(stop.place, "")
    if not word:
        return
    _text(parent, middle, top + grid.font, word, "count")
    kind = "pipe" if stop.metered else "pipe none"
    down = f"M{middle},{top + grid.font + 3}V{top + _PIPE - 22}"
    ET.SubElement(parent, "path", {"d": down, "class": kind})


def _text(parent: ET.Element, x: int, y: int, words: str, kind: str) -> None:
    place = {"x": str(x), "y": str(y), "text-anchor": "middle", "class": kind}
    ET.SubElement(parent, "text", place).text = words
