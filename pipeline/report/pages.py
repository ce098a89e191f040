"""Writes a report as a page, as a PDF of the same page, and as plain text, side by side."""

from __future__ import annotations

import os
import re
import textwrap
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.base import ConfigError, LostpolError
from pipeline.report.pdf import write_pdf
from pipeline.report.view import ReportView
from pipeline.tongue import ENGLISH, Tongue
from pipeline.words import joined, said, unparted, unparted_page, within_line

_WIDTH: Final = 78
_LONG_WORD: Final = re.compile(r"[^\s\u200b]{25,}")
_PART: Final = 8
_BULLET: Final = re.compile(r"- ")
#: Stands in plain text where no line may end, until the lines are folded.
_HELD: Final = "\x1f"


@cache
def environment(tongue: Tongue = ENGLISH, *, soften: bool = False) -> Environment:
    """Templates; everything but plain text is escaped.

    Parameters
    ----------
    tongue : Tongue
        What their words and all that is filled in are said in.
    soften : bool
        Let long words break anywhere: the PDF renderer would break ordinary ones too if the style
        sheet asked for it.
    """

    def filled(value: object) -> object:
        told = tongue(value)
        return _soften(told) if soften else told

    made = Environment(
        loader=tongue.loader(PackageLoader("pipeline.report", "templates")),
        autoescape=lambda name: not (name or "").endswith(".txt.j2"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=filled if soften or not tongue.plain else None,
    )
    made.filters["met"] = tongue.met
    made.filters["within_line"] = within_line
    return made


def _soften(value: Any) -> Any:  # noqa: ANN401
    """Put places to break into every long word of a text; a drawing is left as it is."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return _LONG_WORD.sub(lambda word: joined("\u200b", textwrap.wrap(word[0], _PART)), value)


def require_columns(view: ReportView) -> None:
    """Raise when a frame of the view lacks columns.

    Raises
    ------
    LostpolError
        Naming every column that lacks.
    """
    lacking = view.lacking()
    if lacking:
        raise LostpolError(
            said("The report cannot be made: columns are missing from what it is made of."),
            ", ".join(lacking),
            said(
                "This is a fault in lostpol or a store of another version: run the nightly chain "
                "again, and report the fault if it stays."
            ),
        )


def page_of(
    name: str, parts: Mapping[str, Any], tongue: Tongue = ENGLISH, *, pdf: bool = False
) -> str:
    """Fill the HTML template `name`; for a PDF, with the report's own fonts."""
    made = environment(tongue, soften=pdf)
    sheets = [f"{name}.css.j2", *(["pdf.css.j2"] if pdf else [])]
    style = joined("", (made.get_template(sheet).render() + "\n" for sheet in sheets))
    page = made.get_template(f"{name}.html.j2").render(parts, style=Markup(style), pdf=pdf)
    return unparted_page(page)


def text_of(name: str, parts: Mapping[str, Any], tongue: Tongue = ENGLISH) -> str:
    """Fill the plain-text template `name`; long lines are folded, never cut."""
    filled = environment(tongue).get_template(f"{name}.txt.j2").render(parts)
    lines = [folded for line in filled.splitlines() for folded in _fold(line)]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip() + "\n"


def _fold(line: str) -> list[str]:
    indent = "  " if _BULLET.match(line) else ""
    held = unparted(line.rstrip(), _HELD)
    folded = textwrap.wrap(held, _WIDTH, subsequent_indent=indent)
    return [part.replace(_HELD, " ") for part in folded] or [""]


def write_text(out: Path, text: str) -> Path:
    """Write a file, replacing an older one only when the new one is complete.

    Raises
    ------
    ConfigError
        When the file cannot be written there.
    """
    half_done = out.with_name(f".{out.name}.part")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        half_done.write_text(text, encoding="utf-8")
        os.replace(half_done, out)  # noqa: PTH105 - replaces on every system
    except OSError as fault:
        with suppress(OSError):
            half_done.unlink(missing_ok=True)
        raise ConfigError(
            said("The report could not be written."),
            f"{out}: {fault.strerror or fault}",
            said("Free space, grant the right to write there, or name another folder."),
        ) from fault
    return out


def write_forms(
    out: Path,
    name: str,
    compose: Callable[[str], Mapping[str, Any]],
    tongue: Tongue = ENGLISH,
) -> Path:
    """Write a report in its three forms: `out`, and beside it ``.pdf`` and ``.txt``.

    The PDF is tried first, so that page and text can say why there is none.

    Parameters
    ----------
    out : Path
        The HTML file; missing folders are made.
    name : str
        Name of the templates.
    compose : callable
        Gives what the templates show; its argument is why there is no PDF, empty if there is.
    tongue : Tongue
        What it is said in.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    ConfigError
        When a file cannot be written there.
    """
    parts = compose("")
    page = page_of(name, parts, tongue)
    write_text(out, page)
    without = write_pdf(out.with_suffix(".pdf"), page_of(name, parts, tongue, pdf=True))
    if without:
        parts = compose(without)
        write_text(out, page_of(name, parts, tongue))
    write_text(out.with_suffix(".txt"), text_of(name, parts, tongue))
    return out
