"""One strip of the season as SVG: built element by element, so that foreign text stays text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from pipeline.charts import draw_into
from pipeline.desk.axis import Axis
from pipeline.desk.paths import Scale
from pipeline.tongue import InTongue, written_in
from pipeline.words import clean

#: Characters that may not stand in XML, whatever comes from outside, are gone after `clean`.
_LONGEST: int = 300
#: Height of a number on its plate [px].
_TALL: float = 11.0


@dataclass(frozen=True)
class Bar:
    """Something with a beginning and an end.

    Attributes
    ----------
    left, right : float
        Pixels.
    kind : str
        Classes of the style sheet.
    words : str
        What it is, for the pointer and for readers who hear the page.
    link : str
        Where it leads; empty for nowhere.
    track : int
        Line of the strip it stands on.
    under : str
        Class of a line under it, for a verdict; empty for none.
    """

    left: float
    right: float
    kind: str
    words: str
    link: str = ""
    track: int = 0
    under: str = ""


class Strip:
    """One strip being drawn.

    Parameters
    ----------
    axis : Axis
    height : int
        Pixels.
    label : str
        What it shows, for readers who hear the page.
    """

    def __init__(self, axis: Axis, height: int, label: str) -> None:
        self.axis, self.height = axis, height
        #: Numbers of levels: written last, on plates, so that no curve runs through them.
        self._numbers: list[tuple[float, str]] = []
        self.root = ET.Element(
            "svg",
            {
                "viewBox": f"0 0 {axis.width} {height}",
                "class": "plot",
                "role": "group",
                "aria-label": clean(label, _LONGEST),
            },
        )

    def add(
        self, name: str, marks: Mapping[str, object], parent: ET.Element | None = None
    ) -> ET.Element:
        """Add an element; numbers are written short."""
        written = {
            key.replace("_", "-"): f"{value:.1f}".rstrip("0").rstrip(".")
            if isinstance(value, float)
            else value
            if isinstance(value, str)
            else str(value)
            for key, value in marks.items()
        }
        return ET.SubElement(self.root if parent is None else parent, name, written)

    def band(self, first: float, last: float, kind: str) -> None:
        """Shade a stretch over the whole height."""
        self.add(
            "rect",
            {"x": first, "y": 0, "width": max(last - first, 1.0), "height": self.height,
             "class": kind},
        )  # fmt: skip

    def days(self) -> None:
        """Draw faint lines where the axis has its marks."""
        for tick in self.axis.ticks():
            self.add(
                "line",
                {"x1": tick.x, "x2": tick.x, "y1": 0, "y2": self.height,
                 "class": "day" if tick.day else "hour"},
            )  # fmt: skip

    def noted(self, cut: tuple[float, float], words: str) -> None:
        """Mark what was noted beforehand; its words stand on it when pointed at."""
        draw_into(self.root, cut, 0.0, float(self.height), ("", clean(words, _LONGEST)))

    def path(self, data: str, kind: str) -> None:
        """Draw a path, if there is anything in it."""
        if data:
            self.add("path", {"d": data, "class": kind})

    def levels(self, scale: Scale, most: int = 3) -> None:
        """Draw round values as lines with their numbers."""
        for value, words in scale.levels(most):
            y = scale.at(value)
            self.add("line", {"x1": 0, "x2": self.axis.width, "y1": y, "y2": y, "class": "grid"})
            at = min(max(y - 2.0, 9.0), self.height - 2.0)
            # On a low strip numbers may stand nearer than they are tall: the first one stays.
            if all(abs(at - other) >= _TALL for other, _ in self._numbers):
                self._numbers.append((at, words))

    def text(self, x: float, y: float, words: str, *, anchor: str = "start") -> None:
        """Write something."""
        at = {"x": x, "y": y, "class": "small", "text_anchor": anchor}
        self.add("text", at).text = clean(words, _LONGEST)

    def bars(self, bars: Iterable[Bar], tall: int, gap: int) -> None:
        """Draw bars on their tracks; those that lead somewhere can be reached by keyboard."""
        for bar in bars:
            y = gap + bar.track * (tall + gap + 3)
            parent = None
            if bar.link:
                words = clean(bar.words, _LONGEST)
                parent = self.add("a", {"href": bar.link, "class": "to", "aria_label": words})
            left, right = bar.left, max(bar.right, bar.left + 3.0)
            box = self.add(
                "rect",
                {"x": left, "y": y, "width": right - left, "height": tall, "class": bar.kind},
                parent,
            )
            ET.SubElement(box, "title").text = clean(bar.words, _LONGEST)
            if bar.under:
                y_under = y + tall + 2
                self.add(
                    "line",
                    {"x1": left, "x2": right, "y1": y_under, "y2": y_under, "class": bar.under},
                    parent,
                )

    def done(self) -> InTongue:
        """The strip as text that may stand in a page."""
        for y, words in self._numbers:
            plate = {"x": 0, "y": y - 9.0, "width": 5.0 + 6.6 * len(words), "height": 11}
            self.add("rect", plate | {"class": "plate"})
            self.add("text", {"x": 3, "y": y, "class": "small"}).text = words
        self._numbers.clear()
        return InTongue(lambda tongue: written_in(self.root, tongue))


def on_tracks(spans: Iterable[tuple[float, float]], room: float = 3.0) -> list[int]:
    """Line for each of some bars, in order of their beginning, so that none covers another."""
    ends: list[float] = []
    found = []
    for left, right in spans:
        track = next((n for n, end in enumerate(ends) if end + room <= left), len(ends))
        if track == len(ends):
            ends.append(0.0)
        ends[track] = max(right, left + 3.0)
        found.append(track)
    return found
