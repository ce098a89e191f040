"""The report: one HTML file that needs nothing else, made from a :class:`ReportView`."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.errors import ConfigError, LostpolError
from pipeline.report.compose import compose
from pipeline.report.view import Estimate, Gap, Multiplier, ReportView

__all__ = ["Estimate", "Gap", "Multiplier", "ReportView", "render_report", "write_report"]


def render_report(view: ReportView, top: int = 6) -> str:
    """Make the report as HTML text.

    Parameters
    ----------
    view : ReportView
        What is known about the period.
    top : int
        Number of findings that get a card of their own; the others stay in the table.

    Raises
    ------
    LostpolError
        When a frame of the view lacks columns.
    """
    lacking = view.lacking()
    if lacking:
        raise LostpolError(
            "The report cannot be made: columns are missing from what it is made of.",
            ", ".join(lacking),
            "This is a fault in lostpol or a store of another version: run the nightly chain "
            "again, and report the fault if it stays.",
        )
    environment = Environment(
        loader=PackageLoader("pipeline.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    template = environment.get_template("report.html.j2")
    style, _, _ = environment.loader.get_source(environment, "report.css")  # type: ignore[union-attr]
    return template.render(compose(view, top), style=Markup(style))


def write_report(out: Path, view: ReportView, top: int = 6) -> Path:
    """Write the report to `out`, replacing an older file only when the new one is complete.

    Parameters
    ----------
    out : Path
        The HTML file to write; missing folders are made.
    view, top
        As for :func:`render_report`.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    ConfigError
        When the file cannot be written there.
    LostpolError
        When a frame of the view lacks columns.
    """
    page = render_report(view, top)
    half_done = out.with_name(f".{out.name}.part")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        half_done.write_text(page, encoding="utf-8")
        os.replace(half_done, out)  # noqa: PTH105 - replaces on every system
    except OSError as fault:
        with suppress(OSError):
            half_done.unlink(missing_ok=True)
        raise ConfigError(
            "The report could not be written.",
            f"{out}: {fault.strerror or fault}",
            "Free space, grant the right to write there, or name another folder.",
        ) from fault
    return out
