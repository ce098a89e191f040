"""Reports: HTML that needs nothing else, its PDF and plain text, made from frozen views."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, TypeVar

from pipeline.report.night import compose_night
from pipeline.report.pages import page_of, require_columns, write_forms, write_text
from pipeline.report.season import compose
from pipeline.report.view import Gap, NightView, ReportView, WeekView
from pipeline.report.week.keeper import compose_keeper
from pipeline.report.week.week import compose_week
from pipeline.words import said

#: The page for those who keep the tool.
KEEPER: Final = "keeper.html"

ViewT = TypeVar("ViewT", NightView, WeekView)


def render_report(view: ReportView, top: int = 6) -> str:
    """Make the report of a period as HTML text.

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
    require_columns(view)
    return page_of("report", compose(view, top), view.tongue)


def write_report(out: Path, view: ReportView, top: int = 6) -> Path:
    """Write the report of a period to `out`, replacing an older file only when it is complete.

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
    return write_text(out, render_report(view, top))


def write_night(out: Path, view: NightView) -> Path:
    """Write the nightly report: `out` (HTML), and beside it the same as PDF and plain text.

    Raises
    ------
    ConfigError
        When a file cannot be written there.
    LostpolError
        When a frame of the view lacks columns.
    """
    return _write_forms(out, "night", view, compose_night)


def write_week(out: Path, view: WeekView) -> Path:
    """Write the weekly review as :func:`write_night` writes a night.

    A page for those who keep the tool lies beside it, called ``keeper.html``.
    """
    made = _write_forms(out, "week", view, compose_week)
    write_text(out.with_name(KEEPER), page_of("keeper", compose_keeper(view), view.report.tongue))
    return made


def _write_forms(
    out: Path, name: str, view: ViewT, compose_view: Callable[[ViewT], dict[str, Any]]
) -> Path:
    """Compose a view and write it in three forms, of which each says what could not be made."""
    require_columns(view.report)

    def parts(no_pdf: str) -> dict[str, Any]:
        return compose_view(replace(view, report=_told(view.report, no_pdf)))

    return write_forms(out, name, parts, view.report.tongue)


def _told(view: ReportView, no_pdf: str) -> ReportView:
    """Name a missing PDF among what could not be made."""
    if not no_pdf:
        return view
    return replace(
        view, not_computed=(*view.not_computed, Gap(said("The PDF of this report"), no_pdf))
    )
