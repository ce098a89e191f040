"""Who may ask, and what a browser may do with the answer: checked before any page is made.

The desk is reached from this machine alone, by the names of this machine. A page of another site
that has its name point here (DNS rebinding) is refused by the name it asks for, and what it sends
by its origin; what changes something needs, besides, the token that only pages of this desk hold.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Names under which this machine is its own.
LOOPBACK: Final = ("localhost", "127.0.0.1", "::1")
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
#: A report is a page of its own with a policy of its own; it reaches nothing of the desk.
REPORT_POLICY: Final = "sandbox allow-scripts allow-downloads allow-popups; frame-ancestors 'none'"
_HEADERS: Final[Mapping[str, str]] = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}
_ASKING: Final = frozenset({"GET", "HEAD"})


class Guard:
    """Refuses what does not come from this desk's own pages, and sets the headers of answers.

    Parameters
    ----------
    app : ASGIApp
    names : tuple of str
        Hosts the desk answers to.
    """

    def __init__(self, app: ASGIApp, names: tuple[str, ...] = LOOPBACK) -> None:
        self.app, self.names = app, names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = self._refused(scope)

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("content-security-policy", POLICY)
            await send(message)

        await (refused or self.app)(scope, receive, marked)

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host_name(host) not in self.names:
            words = "This desk answers to the names of its own machine only."
            return PlainTextResponse(words, status_code=421)
        if scope["method"] in _ASKING:
            return None
        if scope["method"] != "POST":
            return PlainTextResponse("Not a way to ask.", 405, {"allow": "GET, HEAD, POST"})
        own = f"{scope['scheme']}://{host}"
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "same-origin")
        if (origin is not None and origin != own) or site not in {"same-origin", "none"}:
            words = "Only pages of this desk may change something."
            return PlainTextResponse(words, status_code=403)
        return None


def host_name(host: str) -> str:
    """Name in a Host header, without its port; empty where it cannot be one."""
    if host.startswith("["):
        name, bracket, rest = host[1:].partition("]")
        return name.lower() if bracket and (not rest or rest.startswith(":")) else ""
    name, _, port = host.partition(":")
    return name.lower() if not port or (port.isascii() and port.isdigit()) else ""


def same(given: str, token: str) -> bool:
    """Compare a token in a time that tells nothing of it."""
    return hmac.compare_digest(given.encode(), token.encode())
