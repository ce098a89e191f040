"""Templates, style and scripts of the desk."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from markupsafe import Markup

from pipeline.dossier import chart_script, page_parts
from pipeline.handbook import static_file
from pipeline.tongue import ENGLISH, Tongue, speaking
from pipeline.words import unparted_page

#: What may be asked for by name, and its type.
STATIC: Final[Mapping[str, str]] = {
    "desk.css": "text/css; charset=utf-8",
    "desk.js": "text/javascript; charset=utf-8",
    "lanes.js": "text/javascript; charset=utf-8",
    "handbook.css": "text/css; charset=utf-8",
    "handbook.js": "text/javascript; charset=utf-8",
}


@cache
def static_text(name: str) -> str:
    """A file of the desk that pages refer to."""
    if name == "lanes.js":
        return chart_script()
    if name.startswith("handbook."):
        return static_file(name)
    return files("pipeline.desk").joinpath("static", name).read_text(encoding="utf-8")


@cache
def _environment(tongue: Tongue) -> Environment:
    own = PackageLoader("pipeline.desk", "templates")
    made = Environment(
        loader=ChoiceLoader([own, PrefixLoader({"dossier": page_parts()})]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return speaking(made, tongue)


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def render(
    name: str, content: Mapping[str, Any], tongue: Tongue = ENGLISH, *, kept: bool = False
) -> str:
    """Fill a template.

    Parameters
    ----------
    name : str
    content : mapping
    tongue : Tongue
    kept : bool
        One file that needs nothing else: style and chart stand in it, nothing can be written.
    """
    own: dict[str, Any] = {
        "kept": kept,
        "languages": [],
        "policy": "",
        "style": "",
        "chart_script": "",
    }
    if kept:
        style, script = static_text("desk.css"), static_text("lanes.js")
        own |= {"style": Markup(style), "chart_script": Markup(script)}
        own["policy"] = Markup(
            f"default-src 'none'; style-src {_hash(style)}; script-src {_hash(script)}; "
            "img-src data:; base-uri 'none'; form-action 'none'"
        )
    page = _environment(tongue).get_template(name).render(own | dict(content))
    return unparted_page(page)
