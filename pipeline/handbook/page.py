"""The page of the handbook, as one file or as the desk shows it."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.base import ConfigError
from pipeline.handbook.commands import Command
from pipeline.handbook.keys import sections_of
from pipeline.handbook.prose import documents_of
from pipeline.store import chapters
from pipeline.words import said

NAME: Final = "lostpol_handbook.html"
TEMPLATE: Final = "configs/template.toml"
DOCUMENTS: Final = (
    "README.md",
    "sample_parquet/messy_mill/README.md",
    "sample_parquet/README.md",
    "configs/README.md",
    "pipeline/README.md",
    "models/README.md",
    "features/README.md",
    "DEVELOPERS.md",
    "pipeline/LICENCES.md",
)
_HOME: Final = Path(__file__).resolve().parents[2]


def handbook_page(commands: Sequence[Command], *, at_desk: bool = False, home: Path = _HOME) -> str:
    """The handbook as HTML.

    Parameters
    ----------
    commands : sequence of Command
        What the command line can do.
    at_desk : bool
        Style and script are files of the desk; else they stand in the page, which needs nothing.
    home : Path
        Folder of the project: documents and template are read there.

    Raises
    ------
    ConfigError
        One of these is missing or cannot be read.
    """
    try:
        before, sections = sections_of((home / TEMPLATE).read_text(encoding="utf-8"))
        documents = documents_of(home, DOCUMENTS)
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(
            said(
                "The handbook is made from the files of the project, and one cannot be read: "
                "{why}.",
                why=str(error),
            ),
            str(home),
            said(
                "Run lostpol from a clone, installed there with pip install -e . (see its README)."
            ),
        ) from error
    content: dict[str, Any] = {
        "at_desk": at_desk,
        "commands": commands,
        "before": before,
        "sections": sections,
        "chapters": chapters(),
        "documents": documents,
        "policy": "",
    }
    if not at_desk:
        style, script = static_file("handbook.css"), static_file("handbook.js")
        content |= {"style": Markup(style), "script": Markup(script)}
        content["policy"] = Markup(
            f"default-src 'none'; style-src {_hash(style)}; script-src {_hash(script)}; "
            "img-src data:; base-uri 'none'; form-action 'none'"
        )
    return _environment().get_template("handbook.html.j2").render(content)


def write_handbook(commands: Sequence[Command], folder: Path) -> Path:
    """Write the handbook as one HTML file; gives its path.

    Raises
    ------
    ConfigError
        It cannot be written there.
    """
    text, path = handbook_page(commands), folder / NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        cure = said("Name another folder with --out.")
        raise ConfigError(
            said("Not written: {why}.", why=error.strerror), str(path), cure
        ) from error
    return path


def static_file(name: str) -> str:
    """Style (``handbook.css``) or script (``handbook.js``) of the page."""
    return files("pipeline.handbook").joinpath("static", name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("pipeline.handbook", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["slug"] = _slug
    return made


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9_]+", "-", text.lower()).strip("-")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
