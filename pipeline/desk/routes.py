"""Which address shows what."""

from __future__ import annotations

from functools import partial

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.routing import Route

from pipeline.desk import files, pages, reports, writes
from pipeline.desk.access import Access
from pipeline.desk.desk import Desk
from pipeline.desk.faults import told
from pipeline.desk.guard import LOOPBACK, Guard


def app_of(
    desk: Desk, names: tuple[str, ...] = LOOPBACK, token: str = "", *, secure: bool = False
) -> Starlette:
    """The desk as an application.

    Parameters
    ----------
    desk : Desk
    names : tuple of str
        Hosts it answers to.
    token : str
        What must be typed to enter; nobody is asked without one.
    secure : bool
        It is reached by TLS.
    """
    routes = [
        Route("/", told(pages.home)),
        Route("/static/{name}", pages.static),
        Route("/handbook", told(pages.handbook)),
        Route("/m/{key}/", told(pages.season)),
        Route("/m/{key}/period", told(pages.period)),
        Route("/m/{key}/what-if", told(pages.what_if)),
        Route("/m/{key}/finding/{which}", told(pages.finding)),
        Route("/m/{key}/finding/{which}/dossier", told(pages.dossier)),
        Route("/m/{key}/waiting", told(pages.waiting)),
        Route("/m/{key}/reports/", told(reports.index)),
        Route("/m/{key}/reports/{path:path}", told(reports.report)),
        Route("/m/{key}/verdicts", told(pages.verdicts)),
        Route("/m/{key}/finding/{which}/verdict", writes.give, methods=["POST"]),
        *(
            Route(
                f"{files.address_of(view)}.{kind}",
                told(partial(files.page, view=view, kind=kind)),
            )
            for view in files.PAGES
            for kind in ("html", "pdf")
        ),
        Route("/m/{key}/{what}.{kind}", told(files.table)),
        Route("/m/{key}/notes", writes.keep, methods=["POST"]),
    ]
    doors = [Middleware(Guard, names=names)]
    if token:
        doors.append(Middleware(Access, token=token, secure=secure))
    app = Starlette(routes=routes, middleware=doors)
    app.state.desk = desk
    return app
