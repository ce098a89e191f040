"""The tongue of whoever looks: as asked for, as kept from before, or the mill's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from starlette.requests import Request
from starlette.responses import HTMLResponse

from pipeline.desk.desk import Desk
from pipeline.desk.render import render
from pipeline.mill import Mill
from pipeline.present import tongue_for
from pipeline.tongue import ENGLISH, LANGUAGES, Tongue, tongue_of

_NAME: Final = "language"
_A_YEAR_S: Final = 365 * 86400


def asked_language(request: Request) -> str:
    """Language that somebody chose here; empty where nobody did, or where there is none such."""
    for held in (request.query_params, request.cookies):
        language = held.get(_NAME, "")
        if language in LANGUAGES:
            return language
    return ""


def mill_in_tongue(mill: Mill, request: Request) -> Mill:
    """The mill as one whose readers have the language chosen here."""
    language = asked_language(request)
    if not language or mill.reports.language.partition("-")[0] == language:
        return mill
    return replace(mill, reports=mill.reports.model_copy(update={"language": language}))


def tongue_here(request: Request) -> Tongue:
    """Tongue of an answer."""
    desk: Desk = request.app.state.desk
    key = request.path_params.get("key", "")
    if key in desk.kept:
        return tongue_for(mill_in_tongue(desk.kept[key].mill, request))
    mills = [kept.mill for kept in desk.kept.values()]
    if asked := asked_language(request):
        return tongue_of(asked)
    return tongue_for(mills[0]) if len({m.reports.language for m in mills}) == 1 else ENGLISH


def page(
    request: Request, name: str, content: Mapping[str, Any], status: int = 200
) -> HTMLResponse:
    """A page in the tongue of whoever asks, with the others to choose from; a choice is kept."""
    tongue = tongue_here(request)
    here = tongue.language
    languages = (
        [
            (words, f"?{request.url.include_query_params(language=one).query}", one == here, one)
            for one, words in LANGUAGES.items()
        ]
        if request.method == "GET"
        else []
    )
    answer = HTMLResponse(render(name, {"languages": languages} | dict(content), tongue), status)
    if request.query_params.get(_NAME, "") in LANGUAGES:
        answer.set_cookie(_NAME, here, max_age=_A_YEAR_S, httponly=True, samesite="strict")
    return answer
