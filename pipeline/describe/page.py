"""A page to confirm a drafted description on: the station in flow order, each tag at its place.

It needs no script and no network, and prints on A4. Everything on it comes from the draft.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from pipeline.describe.draft import Draft, DraftedVessel
from pipeline.describe.sheet.doubts import headline
from pipeline.describe.sheet.picture import NARROW, WIDE, picture, shape
from pipeline.describe.sheet.stops import sort_draft, volume_words
from pipeline.describe.sheet.traces import Traces
from pipeline.describe.written import write_new
from pipeline.intake import FileVerdict, Question
from pipeline.words import clean, count, spoken_name

#: Longest text of a reason or a question that the page shows [characters].
_LONG: Final = 1000
#: Marks between the parts of a name, but not those of an entity or of a number.
_PARTED: Final = re.compile(r"([_./\\)-]+)(?=[^\W\d_])")
_VERDICTS: Final = {
    "read": "read",
    "asked": "read by an answer to CONFIRM",
    "not read": "not read",
}


def draft_page(draft: Draft) -> str:
    """Make the page of a draft as HTML text.

    Parameters
    ----------
    draft : Draft
        Names, units and words of exports in it are untrusted; they reach the page as text.

    Returns
    -------
    str
        A whole HTML page that refers to nothing outside.
    """
    tags = [g.tag for g in draft.guesses] + [s.tag for s in draft.lab]
    traces = Traces(tags, draft.zone)
    found = sort_draft(draft, traces)
    content: dict[str, Any] = {
        "mill": clean(draft.name) or "A mill without a name",
        "zone": clean(draft.zone, 60),
        "head": headline(draft, found),
        "found": found,
        "wide": picture(found.stops, WIDE),
        "narrow": picture(found.stops, NARROW),
        "shape": shape,
        "days": traces.words,
        "questions": [_question(question) for question in draft.questions],
        "files": [_file(verdict) for verdict in draft.files],
        "vessels": [_vessel(vessel) for vessel in draft.vessels],
        "missing": [(clean(m.what, _LONG), clean(m.costs, _LONG)) for m in draft.missing],
    }
    return _render(content)


def write_page(draft: Draft, path: Path) -> None:
    """Write the page of a draft to a new file, as a draft is written."""
    write_new(draft_page(draft), path, "page", "lostpol never overwrites a page.")


def _question(question: Question) -> dict[str, Any]:
    answers = [(clean(typed, 200), clean(meaning, _LONG)) for typed, meaning in question.answers]
    taken = clean(question.answer, 200)
    if taken not in dict(answers):
        answers = [(taken, ""), *answers]
    return {
        "key": clean(question.key, 80),
        "file": clean(question.file),
        "words": clean(question.words, _LONG),
        "answers": answers,
        "taken": taken,
        "given": question.given,
    }


def _file(verdict: FileVerdict) -> dict[str, Any]:
    return {
        "name": clean(verdict.name),
        "verdict": _VERDICTS.get(verdict.verdict, clean(verdict.verdict, 40)),
        "sound": verdict.verdict == "read",
        "words": clean(verdict.words, _LONG),
        "tags": count(verdict.tags) if verdict.tags else "",
        "readings": count(verdict.readings) if verdict.readings else "",
        "layout": clean(verdict.layout, 80),
    }


def _vessel(vessel: DraftedVessel) -> dict[str, Any]:
    return {
        "name": spoken_name(vessel.name),
        "key": clean(vessel.name, 80),
        "volume": volume_words(vessel),
        "guessed": vessel.guessed,
        "matters": clean(vessel.matters, _LONG),
    }


def breakable(text: str) -> Markup:
    """Escape text, and let a long word of it end a line behind a mark that parts it."""
    return Markup(_PARTED.sub(r"\1<wbr>", str(escape(text))))


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("pipeline.describe", "sheet/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["breakable"] = breakable
    return made


@cache
def _style() -> str:
    sheet = files("pipeline.describe").joinpath("sheet", "templates", "draft.css")
    return sheet.read_text(encoding="utf-8")


def _render(content: dict[str, Any]) -> str:
    style = _style()
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        _environment()
        .get_template("draft.html.j2")
        .render(content, style=Markup(style), policy=Markup(policy))
    )
