"""The desk as a running server: its port, its address on the first line, a clean end."""

from __future__ import annotations

import logging
import socket
import threading
import webbrowser
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final

import uvicorn

from pipeline.base import ConfigError, LostpolError
from pipeline.desk.desk import Desk, desk_of
from pipeline.desk.routes import app_of
from pipeline.mill import Mill

_BACKLOG: Final = 64
_PATIENCE_S: Final = 5


def serve_desk(
    mills: Sequence[Mill],
    say: Callable[[str], None],
    *,
    port: int = 0,
    browser: bool = True,
    view_only: bool = False,
) -> None:
    """Serve the desk on this machine until it is stopped by the keyboard.

    Parameters
    ----------
    mills : sequence of Mill
    say : callable
        Writes a line to the terminal; the address is on the first.
    port : int
        0 takes a free one.
    browser : bool
        Open it in the browser.
    view_only : bool
        Nothing may be changed.

    Raises
    ------
    ConfigError
        The port cannot be had, or two mills share a key.
    """
    desk = desk_of(mills, view_only=view_only)
    held = _held(port)
    address = f"http://127.0.0.1:{held.getsockname()[1]}/"
    say(f"Desk: {address}")
    say("It is seen from this machine alone. Stop it with Ctrl-C.")
    warm = threading.Thread(target=_warm, args=(desk,), daemon=True)
    warm.start()
    server = uvicorn.Server(
        uvicorn.Config(
            app_of(desk),
            log_config=None,
            log_level=logging.WARNING,
            access_log=False,
            server_header=False,
            date_header=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=_PATIENCE_S,
        )
    )
    if browser:
        webbrowser.open(address)
    with held, suppress(KeyboardInterrupt):
        server.run(sockets=[held])
    say("The desk has ended. Verdicts and notes given at it are kept.")


def _held(port: int) -> socket.socket:
    held = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        held.bind(("127.0.0.1", port))
        held.listen(_BACKLOG)
    except OSError as error:
        held.close()
        raise ConfigError(
            f"The desk cannot listen there: {error.strerror or error}.",
            f"127.0.0.1:{port}",
            "Name another port with --port, or leave it out to take a free one.",
        ) from error
    return held


def _warm(desk: Desk) -> None:
    """Read what the first views ask for; a fault is told by the view that meets it."""
    for kept in desk.kept.values():
        with suppress(LostpolError, OSError):
            kept.now()
            kept.readings()
