"""A chart description turned into inline SVG that can share a page with others.

Names inside an SVG (clip paths, gradients) are global to the page it is inlined in, so each
drawing gets a prefix of its own. Anything that could run or load something is refused.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

import altair as alt
import vl_convert as vlc
from markupsafe import Markup

from pipeline.tongue import ENGLISH, Tongue

_SVG = "http://www.w3.org/2000/svg"
_FORBIDDEN = frozenset({"script", "foreignObject", "image", "iframe", "a"})
_REFERENCE = re.compile(r"url\(\s*['\"]?#([^)'\"]+)['\"]?\s*\)")
_LONG_NUMBER = re.compile(r"-?\d+\.\d{2,}")
#: Width of a letter of a bold heading [em]; wide ones are rare.
_LETTER = 0.582
#: Width of a letter of a legend at most [em], and what its symbol and the gap beside it take [px].
_LEGEND, _SYMBOL, _GAP = 0.56, 26.0, 26.0
#: Width of a letter of a legend in the mean, and of its symbol with a narrow gap [px].
_SLIM, _SLIM_SYMBOL = 5.6, 34.0
_VL_VERSION = ".".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])


@dataclass(frozen=True, slots=True)
class Drawing:
    """One chart in two widths, some for paper too; without them `note` says why none was drawn."""

    wide: Markup | None = None
    narrow: Markup | None = None
    note: str = ""
    paper: Markup | None = None


def draw(spec: dict[str, Any], prefix: str, label: str, tongue: Tongue = ENGLISH) -> Markup:
    """Draw a chart as an SVG element to be inlined.

    Parameters
    ----------
    spec : dict
        Vega-Lite specification with its data inside.
    prefix : str
        Unique on the page: letters, digits and hyphens.
    label : str
        What the chart shows, for readers who hear the page.
    tongue : Tongue
        What its titles, legends, numbers and dates are said in.

    Returns
    -------
    markupsafe.Markup
        SVG text that is safe to inline: no script, no link, no outside reference.
    """
    text = vlc.vegalite_to_svg(
        _stacked(_folded(_said_in(spec, tongue), _legend_font(spec))),
        vl_version=_VL_VERSION,
        allowed_base_urls=[],
        **tongue.chart_locales,
    )
    return Markup(isolate(text, prefix, tongue(label)))


def _said_in(part: Any, tongue: Tongue) -> Any:  # noqa: ANN401 - whatever a specification holds
    """Say every text of a specification that was made here in a tongue."""
    if tongue.plain:
        return part
    if isinstance(part, dict):
        return {name: _said_in(value, tongue) for name, value in part.items()}
    if isinstance(part, list | tuple):
        return [_said_in(value, tongue) for value in part]
    return tongue(part)


def _legend_font(spec: Mapping[str, Any]) -> float:
    """Size of a legend's letters [px]; the drawing library's own where nothing is said."""
    return float(spec.get("config", {}).get("legend", {}).get("labelFontSize", 10))


def _folded(part: Any, font: float, wide: int = 0) -> Any:  # noqa: ANN401 - whatever a specification holds
    """Fold titles and legends wider than their chart, which would be cut at its edge.

    What fits in English may not in another tongue.
    """
    if isinstance(part, list):
        return [_folded(one, font, wide) for one in part]
    if not isinstance(part, dict):
        return part
    wide = part["width"] if isinstance(part.get("width"), int) else wide
    part = {name: _folded(value, font, wide) for name, value in part.items()}
    title, width = part.get("title"), part.get("width")
    if isinstance(part.get("legend"), dict) and wide:
        part["legend"] = part["legend"] | _columns(part, wide, font)
    if isinstance(title, dict) and isinstance(title.get("text"), str) and isinstance(width, int):
        letters = int(width / (_LETTER * title.get("fontSize", 12)))
        part["title"] = title | {"text": textwrap.wrap(title["text"], letters) or ""}
    return part


def _columns(scale: Mapping[str, Any], wide: int, font: float) -> dict[str, int]:
    """As many columns of a legend as its longest name leaves room for."""
    names = (scale.get("scale") or {}).get("domain") or ()
    longest = max((len(name) for name in names if isinstance(name, str)), default=0)
    columns = scale["legend"].get("columns")
    if not columns or not longest:
        return {}
    each = _LEGEND * font * longest + _SYMBOL + _GAP
    return {"columns": max(1, min(columns, int((wide + _GAP) / each)))}


def _stacked(spec: dict[str, Any]) -> dict[str, Any]:
    """Set legends below one another where they take more than a chart's width side by side."""
    layout = spec.get("config", {}).get("legend", {}).get("layout", {}).get("top")
    charts = spec.get("concat", [spec])
    if layout and any(_legends_wide(chart) > chart.get("width", 0) for chart in charts):
        layout["direction"] = "vertical"
    return spec


def _legends_wide(chart: Mapping[str, Any]) -> float:
    """What the legends of a chart take beside one another [px]."""
    found: dict[tuple[str, ...], int] = {}
    waiting: list[Any] = [chart]
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict):
            waiting += part.values()
            legend, scale = part.get("legend"), part.get("scale")
            if isinstance(legend, dict) and isinstance(scale, dict):
                names = tuple(n for n in scale.get("domain") or () if isinstance(n, str))
                found[names] = min(legend.get("columns") or len(names), len(names))
    return sum(
        n * (_SLIM * max(map(len, names), default=0) + _SLIM_SYMBOL) for names, n in found.items()
    )


def isolate(text: str, prefix: str, label: str) -> str:
    """Rebuild SVG text with its own names, a label and shorter numbers.

    Raises
    ------
    ValueError
        When the drawing holds an element or an attribute that runs or loads something.
    KeyError
        When it refers to a name it does not hold.
    """
    ET.register_namespace("", _SVG)
    root = ET.fromstring(text)
    # The renderer counts its names on through the life of the process: counting anew gives
    # the same file for the same data.
    found = [name for element in root.iter() if (name := element.get("id"))]
    names = {name: f"{prefix}-{count}" for count, name in enumerate(found)}
    for element in root.iter():
        if element.tag.rsplit("}", 1)[-1] in _FORBIDDEN:
            raise ValueError(f"the drawing holds a forbidden element: {element.tag}")
        _isolate_attributes(element, names)
    root.set("role", "img")
    root.set("aria-label", label)
    return ET.tostring(root, encoding="unicode")


def _isolate_attributes(element: ET.Element, names: Mapping[str, str]) -> None:
    # The drawing's parts are named for screen readers one by one; a chart of 700 points is
    # better heard as one labelled picture, so those names go. Classes would mix with the page's.
    for name in [n for n in element.attrib if n == "class" or n.startswith(("aria-", "role"))]:
        del element.attrib[name]
    for name, value in element.attrib.items():
        bare = name.rsplit("}", 1)[-1]
        if bare.startswith("on") or (bare == "href" and not value.startswith("#")):
            raise ValueError(f"the drawing holds a forbidden attribute: {name}")
        if bare == "id":
            element.set(name, names[value])
        elif bare == "href":
            element.set(name, f"#{names[value[1:]]}")
        elif "url(" in value:
            element.set(name, _REFERENCE.sub(lambda m: f"url(#{names[m[1]]})", value))
        elif bare == "d":
            element.set(name, _LONG_NUMBER.sub(lambda m: f"{float(m[0]):.1f}", value))
