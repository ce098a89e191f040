"""Which address shows what."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline.base import (
    ConfigError,
    DataError,
    LostpolError,
    StoreBusyError,
)
from pipeline.desk.address import Filters, Shown, shown_of
from pipeline.desk.desk import Desk
from pipeline.desk.guard import LOOPBACK, Guard
from pipeline.desk.period import asked_of, form_view, period_view
from pipeline.desk.render import STATIC, render, static_text
from pipeline.desk.season import season_view

_STATUS: Final[dict[type[LostpolError], int]] = {
    ConfigError: 400,
    DataError: 404,
    StoreBusyError: 409,
}
View = Callable[[Request], Response]


def app_of(desk: Desk, names: tuple[str, ...] = LOOPBACK) -> Starlette:
    """The desk as an application.

    Parameters
    ----------
    desk : Desk
    names : tuple of str
        Hosts it answers to.
    """
    routes = [
        Route("/", _told(desk, home)),
        Route("/static/{name}", static),
        Route("/m/{key}/", _told(desk, season)),
        Route("/m/{key}/period", _told(desk, period)),
    ]
    app = Starlette(routes=routes, middleware=[Middleware(Guard, names=names)])
    app.state.desk = desk
    return app


def _told(desk: Desk, view: View) -> View:
    """A view whose errors are told as a page: what, where, what to do next."""

    def shown(request: Request) -> Response:
        try:
            return view(request)
        except LostpolError as error:
            return fault(desk, request, error)

    return shown


def fault(desk: Desk, request: Request, error: LostpolError, text: str = "") -> Response:
    """An error as a page, with what was typed."""
    status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 500)
    key = request.path_params.get("key", "")
    content = desk.bare("fault") | {
        "what": error.what,
        "where": error.where.splitlines(),
        "next_step": error.next_step,
        "text": text,
        "back": f"/m/{key}/" if key in desk.kept else "/",
    }
    return HTMLResponse(render("fault.html.j2", content), status)


def static(request: Request) -> Response:
    """Style and scripts."""
    name = request.path_params["name"]
    if name not in STATIC:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(static_text(name), headers={"content-type": STATIC[name]})


def home(request: Request) -> Response:
    """The only mill."""
    desk: Desk = request.app.state.desk
    return RedirectResponse(f"/m/{next(iter(desk.kept))}/", 303)


def season(request: Request) -> Response:
    """Strips of the season."""
    return HTMLResponse(render("season.html.j2", season_content(request)))


def season_content(request: Request) -> dict[str, Any]:
    """What the page of a season shows."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept = desk.of(key)
    shown = shown_of(request.query_params, kept.mill, kept.now())
    content = desk.page(key, "season") | season_view(kept, shown, f"/m/{key}")
    return content | _fields(shown)


def period(request: Request) -> Response:
    """The account of any hours."""
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    kept, base = desk.of(key), f"/m/{key}"
    asked = asked_of(request.query_params, kept)
    view = form_view(kept, None) if asked is None else period_view(kept, asked, base)
    content = view | desk.page(key, "period") | {"by": request.cookies.get("by", "")}
    return HTMLResponse(render("period.html.j2", content))


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
