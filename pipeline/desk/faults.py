"""Errors as pages: what happened, where, what to do next, and what was typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from pipeline.base import ConfigError, DataError, LostpolError, StoreBusyError, full_disk
from pipeline.desk.desk import Desk
from pipeline.desk.tongues import page
from pipeline.words import said

_STATUS: Final[dict[type[LostpolError], int]] = {
    ConfigError: 400,
    DataError: 404,
    StoreBusyError: 409,
}
View = Callable[[Request], Response]


def told(view: View) -> View:
    """A view whose errors are told as a page."""

    def shown(request: Request) -> Response:
        try:
            return view(request)
        except LostpolError as error:
            return fault(request, error)
        except OSError as error:
            return fault(request, of_system(request, error))
        except Exception as error:  # noqa: BLE001  (the last door: a traceback is no answer)
            return fault(request, of_its_own(error))

    return shown


def of_its_own(error: Exception) -> LostpolError:
    """A fault of the desk itself."""
    return LostpolError(
        said("lostpol met a fault of its own."),
        f"{type(error).__name__}: {str(error)[:300]}",
        said("Open the view again; if it comes back, report what stands here."),
    )


def of_system(request: Request, error: OSError) -> LostpolError:
    """An error of disk or rights, in the words of the tool."""
    desk: Desk = request.app.state.desk
    kept = desk.kept.get(request.path_params.get("key", ""))
    where = None if kept is None else kept.mill.store_path
    if where is not None and (full := full_disk(error, where)) is not None:
        return full
    return DataError(
        said("A file cannot be read: {why}.", why=error.strerror or type(error).__name__),
        str(where or "this machine"),
        said("See that the disk and the rights are well: lostpol health MILL tells."),
    )


def fault(request: Request, error: LostpolError, text: str = "") -> Response:
    """An error as a page, with what was typed, so that it is not lost."""
    desk: Desk = request.app.state.desk
    status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 500)
    key = request.path_params.get("key", "")
    content = desk.bare("fault") | {
        "what": error.what,
        "where": error.where.split("\n"),
        "next_step": error.next_step,
        "text": text,
        "back": f"/m/{key}/" if key in desk.kept else "/",
    }
    return page(request, "fault.html.j2", content, status)
