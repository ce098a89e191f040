"""Drawings and data of a page that are written only when it is known in what tongue."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

from markupsafe import Markup

from pipeline.tongue.tongue import ENGLISH, Tongue

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class InTongue:
    """Markup that is made for the tongue of the page it stands in; English where none is asked."""

    made: Callable[[Tongue], Markup]

    def __html__(self) -> str:
        return self.made(ENGLISH)

    def __str__(self) -> str:
        return self.made(ENGLISH)


def written_in(root: ET.Element, tongue: Tongue) -> Markup:
    """Write a drawing with its words in a tongue; the drawing itself is left as it is."""
    if not tongue.plain:
        root = deepcopy(root)
        for element in root.iter():
            element.text = tongue(element.text)
            for name, value in element.attrib.items():
                element.set(name, tongue(value))
    return Markup(ET.tostring(root, encoding="unicode"))


def speaking(made: Environment, tongue: Tongue) -> Environment:
    """Have an environment of templates say everything in a tongue."""
    if made.loader is not None:
        made.loader = tongue.loader(made.loader)

    def said(value: Any) -> Any:  # noqa: ANN401 - whatever a page shows
        return value.made(tongue) if isinstance(value, InTongue) else tongue(value)

    made.filters["met"] = tongue.met
    made.finalize = None if tongue.plain else said
    return made
