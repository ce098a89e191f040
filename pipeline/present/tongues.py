"""In which tongues the reports of a mill are written, and what their files are called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from pipeline.mill import Mill
from pipeline.report import NightView, WeekView
from pipeline.tongue import Tongue, Units, tongue_of


def tongue_for(mill: Mill, language: str | None = None) -> Tongue:
    """The tongue of a mill's readers, or of one who reads another language."""
    said = mill.reports
    return tongue_of(language or said.language, Units(said.temperature, said.mass))


def languages_of(mill: Mill) -> tuple[str, ...]:
    """Languages that a night and a week are written in: the mill's first, then its readers'."""
    asked = () if mill.mail is None else mill.mail.languages.values()
    return tuple(dict.fromkeys([mill.reports.language, *asked]))


def in_language(out: Path, mill: Mill, language: str) -> Path:
    """Where a report lies in a language: the mill's own has the plain name."""
    return (
        out if language == mill.reports.language else out.with_name(f"{out.stem}.{language}.html")
    )


ViewT = TypeVar("ViewT", NightView, WeekView)


def in_every_language(
    mill: Mill, out: Path, view: ViewT, write: Callable[[Path, ViewT], Path]
) -> Path:
    """Write a report in every language of its readers; gives the file in the mill's own."""
    for language in languages_of(mill)[1:]:
        report = replace(view.report, tongue=tongue_for(mill, language))
        write(in_language(out, mill, language), replace(view, report=report))
    return write(out, view)
