"""Views given as files: tables in three forms, a page that needs nothing else, its PDF."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Final

import polars as pl
from starlette.requests import Request
from starlette.responses import Response

from pipeline.base import ConfigError
from pipeline.desk.address import shown_of
from pipeline.desk.desk import Desk
from pipeline.desk.kept import Kept
from pipeline.desk.pages import (
    finding_content,
    mills_content,
    period_content,
    query_of,
    season_content,
    verdicts_content,
    waiting_content,
)
from pipeline.desk.period import Asked, asked_of, period_answer
from pipeline.desk.render import render
from pipeline.desk.share import (
    account_table,
    file_of,
    findings_table,
    hours_table,
    notes_table,
    pdf_of,
    waiting_table,
)
from pipeline.desk.tongues import tongue_here
from pipeline.dossier import lab_frame, minutes_frame
from pipeline.tongue import Tongue
from pipeline.words import clean, said

KINDS: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "parquet": "application/vnd.apache.parquet",
}
_UNSAFE: Final = re.compile(r"[^0-9A-Za-z_-]+")
#: Pixels of a plot on paper: A4 at which words are as large as in the text.
_PAPER: Final = 680
#: In the PDF the renderer's own fonts stand for those of a browser.
_PDF_STYLE: Final = (
    '@font-face { font-family: "Report"; src: url(lostpol:regular); }'
    '@font-face { font-family: "Report"; font-weight: 700; src: url(lostpol:bold); }'
    'html, code, h1, h2, h3, .row .name h2, svg text { font-family: "Report", sans-serif; }'
    ".small { stroke: none; }"
)


def table(request: Request) -> Response:
    """A table of the view as CSV, XLSX or Parquet."""
    desk: Desk = request.app.state.desk
    key, what, kind = (request.path_params[name] for name in ("key", "what", "kind"))
    kept = desk.of(key)
    if what not in TABLES or kind not in KINDS:
        known = ", ".join(f"{name}.csv" for name in TABLES)
        raise ConfigError(
            said("There is no such file."),
            f"{clean(what, 40)}.{clean(kind, 10)}",
            said("There are: {known}; each also as .xlsx and .parquet.", known=known),
        )
    frame = TABLES[what](request, kept, f"/m/{key}")
    about = [
        f"{clean(kept.mill.name)}: {what} as shown at the desk",
        f"Address of the view: {request.url.path}?{request.url.query}",
        f"Columns that end in _utc are UTC, in _local the clock of the mill ({kept.mill.zone}).",
        "lostpol only advises and never writes to a control system.",
    ]
    name = f"{kept.mill.key}_{what}.{kind}"
    return _file(file_of(frame, kind, about), KINDS[kind], name)


def page(request: Request, *, view: str, kind: str) -> Response:
    """A view as one HTML file or as PDF."""
    key = request.path_params.get("key", "desk")
    content = PAGES[view](request, _PAPER if kind == "pdf" else 0)
    name = f"{_UNSAFE.sub('_', key)}_{view}.{kind}"
    if kind == "pdf":
        return _file(
            pdf_of(_for_paper(f"{view}.html.j2", content, tongue_here(request))),
            "application/pdf",
            name,
        )
    text = render(f"{view}.html.j2", content, tongue_here(request), kept=True)
    return _file(text.encode(), "text/html; charset=utf-8", name)


def _for_paper(name: str, content: dict[str, Any], tongue: Tongue) -> str:
    text = render(name, content, tongue, kept=True)
    return text.replace("</style>", f"{_PDF_STYLE}</style>", 1)


def _file(content: bytes, kind: str, name: str) -> Response:
    """Something to keep; whatever it holds, it is no page of the desk."""
    return Response(
        content,
        headers={"content-type": kind, "content-disposition": f'attachment; filename="{name}"'},
    )


def _asked(request: Request, kept: Kept) -> Asked:
    asked = asked_of(query_of(request), kept)
    if asked is None:
        raise ConfigError(
            said("No period was named."), said("from, to"), said("Name one: ?from=...&to=...")
        )
    return asked


def _hours(request: Request, kept: Kept, _base: str) -> pl.DataFrame:
    return hours_table(kept, shown_of(query_of(request), kept.mill, kept.now()))


def _findings(request: Request, kept: Kept, _base: str) -> pl.DataFrame:
    return findings_table(kept, shown_of(query_of(request), kept.mill, kept.now()))


def _account(request: Request, kept: Kept, base: str) -> pl.DataFrame:
    return account_table(period_answer(kept, _asked(request, kept), base)[0])


def _minutes(request: Request, kept: Kept, base: str) -> pl.DataFrame:
    view = period_answer(kept, _asked(request, kept), base)[1]
    return minutes_frame(view.material, view.lanes)


def _laboratory(request: Request, kept: Kept, base: str) -> pl.DataFrame:
    return lab_frame(period_answer(kept, _asked(request, kept), base)[1].material)


TABLES: Final[dict[str, Callable[[Request, Kept, str], pl.DataFrame]]] = {
    "hours": _hours,
    "findings": _findings,
    "account": _account,
    "minutes": _minutes,
    "laboratory": _laboratory,
    "waiting": lambda _request, kept, _base: waiting_table(kept),
    "verdicts": lambda _request, kept, _base: kept.now().verdicts,
    "notes": lambda _request, kept, _base: notes_table(kept),
}
PAGES: Final[dict[str, Callable[[Request, int], dict[str, Any]]]] = {
    "season": season_content,
    "period": period_content,
    "finding": finding_content,
    "waiting": waiting_content,
    "verdicts": verdicts_content,
    "mills": mills_content,
}
#: Views that have an address of their own kind.
_ELSEWHERE: Final = {"finding": "/m/{key}/finding/{which}/view", "mills": "/mills"}


def address_of(view: str) -> str:
    """Pattern of the address of a view as a file, without its kind."""
    return _ELSEWHERE.get(view, f"/m/{{key}}/{view}")
