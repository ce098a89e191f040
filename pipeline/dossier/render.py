"""Templates, style and scripts of the dossier's pages, made one HTML text."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import BaseLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.tongue import Tongue, speaking
from pipeline.words import unparted_page


@cache
def _asset(name: str) -> str:
    return files("pipeline.dossier").joinpath("templates", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


@cache
def _environment(tongue: Tongue) -> Environment:
    """Templates, compiled once a process and tongue: a quarter of a second each time."""
    made = Environment(
        loader=PackageLoader("pipeline.dossier", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return speaking(made, tongue)


def chart_script() -> str:
    """Script that draws the lanes of a page, which holds their data and the places for them."""
    return f'"use strict";(() => {{\n{_asset("lanes.js")}{_asset("controls.js")}}})();'


def page_parts() -> BaseLoader:
    """Parts of pages (trends, order of moves, laboratory, sensors) for others that show them."""
    return PackageLoader("pipeline.dossier", "templates")


def render(name: str, content: Mapping[str, Any], tongue: Tongue) -> str:
    """Fill a template; style and scripts stand in the page, and nothing else may run there."""
    style = _asset("dossier.css")
    script = chart_script()
    policy = (
        f"default-src 'none'; style-src {_hash(style)}; script-src {_hash(script)}; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    page = (
        _environment(tongue)
        .get_template(name)
        .render(content, style=Markup(style), script=Markup(script), policy=Markup(policy))
    )
    return unparted_page(page)
