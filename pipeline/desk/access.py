"""Entering a desk that others than this machine's own user can reach: by a token typed once.

The token comes from the environment and is never part of an address; who has typed it gets a
cookie that ends with the desk or the browser, whichever is first.
"""

from __future__ import annotations

import asyncio
import os
import secrets
from typing import Final
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pipeline.base import ConfigError
from pipeline.desk.guard import same
from pipeline.desk.render import render
from pipeline.words import said

TOKEN: Final = "LOSTPOL_DESK_TOKEN"
_LEAST: Final = 16
_COOKIE: Final = "desk"
_ENTER: Final = "/enter"
_OPEN: Final = frozenset({"/static/desk.css", "/static/desk.js"})
#: Whoever guesses waits [s].
_PAUSE_S: Final = 1.0
_LONGEST: Final = 2_000


def token_of_environment(*, needed: bool) -> str:
    """The token that the desk is entered with; empty where none is asked for.

    Raises
    ------
    ConfigError
        It is needed and missing, or too short to keep anybody out.
    """
    token = os.environ.get(TOKEN, "").strip()
    if (needed and not token) or (token and len(token) < _LEAST):
        raise ConfigError(
            said(
                "A desk that others reach needs a token of {least} characters or more.",
                least=_LEAST,
            ),
            said("{token} in the environment", token=TOKEN),
            said("Set it to something long and random, and give it to those who may enter."),
        )
    return token


class Access:
    """Lets in who has typed the token.

    Parameters
    ----------
    app : ASGIApp
    token : str
    secure : bool
        The desk is reached by TLS, and its cookie by nothing else.
    """

    def __init__(self, app: ASGIApp, token: str, *, secure: bool) -> None:
        self.app, self.token, self.secure = app, token, secure
        self._inside: set[str] = set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        if scope["path"] == _ENTER:
            await (await self._entered(request))(scope, receive, send)
        elif self._is_inside(request) or scope["path"] in _OPEN:
            await self.app(scope, receive, send)
        else:
            await self._outside(scope)(scope, receive, send)

    def _is_inside(self, request: Request) -> bool:
        given = request.cookies.get(_COOKIE, "")
        return any(same(given, one) for one in self._inside)

    def _outside(self, scope: Scope) -> Response:
        wants_page = scope["method"] == "GET" and "text/html" in Headers(scope=scope).get(
            "accept", ""
        )
        if wants_page:
            return RedirectResponse(_ENTER, 303)
        return PlainTextResponse("Enter this desk first.", status_code=401)

    async def _entered(self, request: Request) -> Response:
        if request.method != "POST":
            return HTMLResponse(_page(""))
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > _LONGEST:
                break
        typed = parse_qs(body[:_LONGEST].decode("utf-8", "replace")).get("token", [""])[0]
        if not same(typed.strip(), self.token):
            await asyncio.sleep(_PAUSE_S)
            return HTMLResponse(_page("That is not the token."), 403)
        inside = secrets.token_urlsafe(32)
        self._inside.add(inside)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(_COOKIE, inside, httponly=True, samesite="strict", secure=self.secure)
        return answer


def _page(said: str) -> str:
    bare = {"view": "enter", "base": "", "mill_name": "", "zone": "", "waiting_count": 0,
            "many": False, "view_only": False, "token": "", "said": said}  # fmt: skip
    return render("enter.html.j2", bare)
