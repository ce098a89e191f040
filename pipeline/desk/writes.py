"""What a page sends: verdicts and notes. Each is answered by the page that shows what became of it.

A change is made after the whole form is there and by one call of the command's own function, which
is one transaction: a desk that is killed in it leaves the store as it was, or changed, never half.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final
from urllib.parse import quote, unquote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from pipeline.base import ConfigError, LostpolError
from pipeline.desk.decide import LONGEST, Form, decide, form_of, note, require_token
from pipeline.desk.desk import Desk
from pipeline.desk.faults import fault, of_its_own, of_system
from pipeline.words import figure, said

_YEAR_S: Final = 365 * 86_400
_LONGEST_NAME: Final = 200


async def give(request: Request) -> Response:
    """Keep a verdict."""
    return await _changed(request, _give)


async def keep(request: Request) -> Response:
    """Keep a note, or take one back."""
    return await _changed(request, _keep)


def name_of(request: Request) -> str:
    """Who gave the last verdict or note from this browser."""
    return unquote(request.cookies.get("by", ""), errors="replace")[:_LONGEST_NAME]


async def _changed(request: Request, change: Callable[[Request, Form], Response]) -> Response:
    form = Form({})
    try:
        form = form_of(await _body(request), request.headers.get("content-type", ""))
        require_token(request.app.state.desk, form)
        answer = await run_in_threadpool(change, request, form)
    except LostpolError as error:
        return fault(request, error, form.get("note") or form.get("text"))
    except OSError as error:
        return fault(request, of_system(request, error), form.get("note") or form.get("text"))
    except Exception as error:  # noqa: BLE001  (as for pages)
        return fault(request, of_its_own(error), form.get("note") or form.get("text"))
    name = form.get("by").strip()[:_LONGEST_NAME]
    if name:
        answer.set_cookie("by", quote(name), _YEAR_S, httponly=True, samesite="strict")
    return answer


async def _body(request: Request) -> bytes:
    """A form, as long as forms may be."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > LONGEST:
            raise ConfigError(
                said("The form is too long."),
                "form",
                said("Keep a note to {most} characters.", most=figure(LONGEST // 3, ",")),
            )
        parts.append(part)
    return b"".join(parts)


def _give(request: Request, form: Form) -> Response:
    desk: Desk = request.app.state.desk
    key, which = request.path_params["key"], request.path_params["which"]
    decide(desk, key, which, form)
    where = f"/m/{key}/finding/{quote(which, safe='')}?kept=1"
    if form.get("next") == "waiting":
        where = f"/m/{key}/waiting?kept={quote(which, safe='')}"
    return RedirectResponse(where, 303)


def _keep(request: Request, form: Form) -> Response:
    desk: Desk = request.app.state.desk
    key = request.path_params["key"]
    note(desk, key, form)
    return RedirectResponse(f"/m/{key}/verdicts?noted=1", 303)
