"""A chart description turned into inline SVG that can share a page with others.

Names inside an SVG (clip paths, gradients) are global to the page it is inlined in, so each
drawing gets a prefix of its own. Anything that could run or load something is refused.
"""

from __future__ import annotations

import re
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
_VL_VERSION = ".".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])


@dataclass(frozen=True, slots=True)
class Drawing:
    """One chart in two widths; without them `note` says why nothing was drawn."""

    wide: Markup | None = None
    narrow: Markup | None = None
    note: str = ""


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
        _said_in(spec, tongue),
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
