"""Pages of the desk: each from the state in its address."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from pipeline.desk.address import Filters, Query, Shown, shown_of
from pipeline.desk.desk import Desk
from pipeline.desk.finding import finding_view, verdicts_view, waiting_view
from pipeline.desk.guard import REPORT_POLICY
from pipeline.desk.overview import mills_view
from pipeline.desk.period import asked_of, form_view, period_view
from pipeline.desk.render import STATIC, static_text
from pipeline.desk.season import season_view
from pipeline.desk.tongues import mill_in_tongue, page
from pipeline.desk.what_if import what_if_view
from pipeline.desk.writes import name_of
from pipeline.dossier import dossier_page
from pipeline.period import note_words, notes_of
from pipeline.store import SAFE_ID, chosen, verdict_summary
from pipeline.words import said


def static(request: Request) -> Response:
    """Style and scripts."""
    name = request.path_params["name"]
    if name not in STATIC:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(static_text(name), headers={"content-type": STATIC[name]})


def handbook(request: Request) -> Response:
    """Commands, keys, tables and documents, in English whoever asks."""
    desk: Desk = request.app.state.desk
    return HTMLResponse(desk.handbook, headers={"content-language": "en"})


def home(request: Request) -> Response:
    """The only mill, or all of them beside one another."""
    desk: Desk = request.app.state.desk
    if len(desk.kept) == 1:
        return RedirectResponse(f"/m/{next(iter(desk.kept))}/", 303)
    return page(request, "mills.html.j2", mills_content(request))


def mills_content(request: Request, _width: int = 0) -> dict[str, Any]:
    """What the overview of all mills shows."""
    desk: Desk = request.app.state.desk
    return desk.bare("mills") | mills_view(desk)


def season(request: Request) -> Response:
    """Strips of the season."""
    return page(request, "season.html.j2", season_content(request))


def query_of(request: Request) -> Query:
    """State in the address of a request."""
    return Query(request.query_params.multi_items())


def season_content(request: Request, width: int = 0) -> dict[str, Any]:
    """What the page of a season shows; `width` overrules that of the address."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept = desk.of(key)
    shown = shown_of(query_of(request), kept.mill, kept.now())
    shown = replace(shown, width=width or shown.width)
    content = desk.page(key, "season") | season_view(kept, shown, f"/m/{key}")
    return content | _fields(shown)


def period(request: Request) -> Response:
    """The account of any hours."""
    return page(request, "period.html.j2", period_content(request))


def period_content(request: Request, _width: int = 0) -> dict[str, Any]:
    """What the page of a period shows; its lanes find their own width."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept, base = desk.of(key), f"/m/{key}"
    asked = asked_of(query_of(request), kept)
    view = form_view(kept, None) if asked is None else period_view(kept, asked, base)
    return view | desk.page(key, "period") | {"by": name_of(request)}


def what_if(request: Request) -> Response:
    """A period run again with something changed."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    view = what_if_view(desk.of(key), query_of(request))
    return page(request, "what_if.html.j2", view | desk.page(key, "period"))


def finding(request: Request) -> Response:
    """One finding, and what to decide of it."""
    desk: Desk = request.app.state.desk
    key, which = request.path_params["key"], request.path_params["which"]
    content = finding_content(request)
    if request.query_params.get("kept") == "1":
        row = chosen(desk.of(key).now().findings, which)
        content["said"] = " ".join(verdict_summary(desk.of(key).mill, row))
    return page(request, "finding.html.j2", content)


def finding_content(request: Request, _width: int = 0) -> dict[str, Any]:
    """What the page of a finding shows."""
    desk: Desk = request.app.state.desk
    key, which = request.path_params["key"], request.path_params["which"]
    view = finding_view(desk.of(key), which, f"/m/{key}")
    return desk.page(key, "finding") | view | {"by": name_of(request)}


def dossier(request: Request) -> Response:
    """The dossier of a finding, made now; it is a page of its own."""
    desk: Desk = request.app.state.desk
    key, which = request.path_params["key"], request.path_params["which"]
    kept = desk.of(key)
    ids = [str(name) for name in kept.now().findings["finding_id"]]
    links = {name: f"../{name}/dossier" for name in ids if SAFE_ID.fullmatch(name)}
    page = dossier_page(mill_in_tongue(kept.mill, request), which, links)
    return HTMLResponse(page, headers={"content-security-policy": REPORT_POLICY})


def waiting(request: Request) -> Response:
    """What waits for a verdict."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    content = waiting_content(request)
    if which := request.query_params.get("kept", ""):
        row = chosen(desk.of(key).now().findings, which)
        content["said"] = " ".join(verdict_summary(desk.of(key).mill, row))
    return page(request, "waiting.html.j2", content)


def waiting_content(request: Request, _width: int = 0) -> dict[str, Any]:
    """What the list of what waits shows."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    view = waiting_view(desk.of(key), f"/m/{key}")
    return desk.page(key, "waiting") | view | {"by": name_of(request)}


def verdicts(request: Request) -> Response:
    """What was said, what it taught, and what was noted."""
    content = verdicts_content(request)
    if request.query_params.get("noted") == "1":
        content["said"] = said(
            "Done. Findings and notices follow with the next run: its hours are searched again."
        )
    return page(request, "verdicts.html.j2", content)


def verdicts_content(request: Request, _width: int = 0) -> dict[str, Any]:
    """What the page of verdicts and notes shows."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept = desk.of(key)
    content = desk.page(key, "verdicts") | verdicts_view(kept, f"/m/{key}")
    content |= form_view(kept, None) | {
        "by": name_of(request),
        "state": "",
        "notes": [(note_words(kept.mill, n), n.note_id) for n in notes_of(kept.mill)],
        "note_from": "",
        "note_to": "",
    }
    return content


def _fields(shown: Shown) -> dict[str, Any]:
    """Parts of the state that each form hands on unseen."""

    def pairs(query: str, without: tuple[str, ...] = ()) -> list[tuple[str, str]]:
        return [p for p in parse_qsl(query.removeprefix("?")) if p[0] not in without]

    bare = replace(shown, filters=Filters())
    return {
        "held_fields": pairs(shown.query(), ("from", "to")),
        "window_fields": pairs(bare.query()),
        "no_tag_fields": pairs(shown.query(), ("tag",)),
        "no_filters": bare.query() or "?",
        "all_tags": shown.query(tags=("all",)),
        "no_tags": shown.query(tags=()) or "?",
    }
