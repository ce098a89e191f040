"""The desk as a running server: its port, its address on the first line, a clean end."""

from __future__ import annotations

import ipaddress
import logging
import socket
import threading
import time
import webbrowser
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import uvicorn

from pipeline.base import ConfigError
from pipeline.desk.access import token_of_environment
from pipeline.desk.desk import Desk, desk_of
from pipeline.desk.guard import LOOPBACK
from pipeline.desk.routes import app_of
from pipeline.handbook import Command
from pipeline.mill import Mill
from pipeline.words import said

_BACKLOG: Final = 64
_PATIENCE_S: Final = 5
_FIRST_VIEW_S: Final = 2.0
_HERE: Final = "127.0.0.1"


@dataclass(frozen=True)
class Listen:
    """Where the desk answers.

    Attributes
    ----------
    host : str
        Name or address of this machine.
    port : int
        0 takes a free one.
    cert, key : Path or None
        Files of TLS; needed where others than this machine reach it.
    """

    host: str = _HERE
    port: int = 0
    cert: Path | None = None
    key: Path | None = None

    @property
    def of_others(self) -> bool:
        """Whether others than this machine reach it."""
        return self.host not in LOOPBACK

    @property
    def secure(self) -> bool:
        """Whether it is reached by TLS."""
        return self.cert is not None


def serve_desk(
    mills: Sequence[Mill],
    say: Callable[[str], None],
    where: Listen,
    *,
    browser: bool = True,
    view_only: bool = False,
    commands: Callable[[], tuple[Command, ...]] = tuple,
) -> None:
    """Serve the desk until it is stopped by the keyboard.

    Parameters
    ----------
    mills : sequence of Mill
    say : callable
        Writes a line to the terminal; the address is on the first.
    where : Listen
    browser : bool
        Open it in the browser.
    view_only : bool
        Nothing may be changed.
    commands : callable
        Gives what the command line can do, for the handbook.

    Raises
    ------
    ConfigError
        The port cannot be had, two mills share a key, or a desk for others lacks token or TLS.
    """
    _require_safe(where)
    token = token_of_environment(needed=where.of_others)
    desk = desk_of(mills, view_only=view_only, commands=commands)
    held = _held(where.port, where.host)
    name = f"[{where.host}]" if ":" in where.host else where.host
    address = f"http{'s' if where.secure else ''}://{name}:{held.getsockname()[1]}/"
    say(said("Desk: {address}", address=address))
    if token:
        say(said("Whoever has the token can enter it. Stop it with Ctrl-C."))
    else:
        say(said("It is seen from this machine alone. Stop it with Ctrl-C."))
    threading.Thread(target=_warm, args=(desk,), daemon=True).start()
    names = tuple(dict.fromkeys((*LOOPBACK, where.host.lower())))
    server = uvicorn.Server(
        uvicorn.Config(
            app_of(desk, names, token, secure=where.secure),
            log_config=None,
            log_level=logging.WARNING,
            access_log=False,
            server_header=False,
            date_header=False,
            lifespan="off",
            ws="none",
            ssl_certfile=where.cert,
            ssl_keyfile=where.key,
            timeout_graceful_shutdown=_PATIENCE_S,
        )
    )
    if browser:
        webbrowser.open(address)
    with held, suppress(KeyboardInterrupt):
        server.run(sockets=[held])
    say(said("The desk has ended. Verdicts and notes given at it are kept."))


def _require_safe(where: Listen) -> None:
    """See that a desk for others is reached by TLS, at an address that says which machine it is."""
    if (where.cert is None) != (where.key is None):
        raise ConfigError(
            said("TLS needs two files."), "--cert, --key", said("Name both, or neither.")
        )
    for path in (where.cert, where.key):
        if path is not None and not path.is_file():
            raise ConfigError(said("There is no such file."), str(path), said("Name a PEM file."))
    if not where.of_others:
        return
    with suppress(ValueError):
        if ipaddress.ip_address(where.host).is_unspecified:
            raise ConfigError(
                said("This is every address at once."),
                f"--listen {where.host}",
                said("Name the one address or host name that people open."),
            )
    if not where.secure:
        raise ConfigError(
            said("A desk that others reach needs TLS."),
            f"--listen {where.host}",
            said("Name a certificate and its key: --cert FILE --key FILE."),
        )


def _held(port: int, host: str = _HERE) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    held = socket.socket(family, socket.SOCK_STREAM)
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        held.bind((host, port))
        held.listen(_BACKLOG)
    except OSError as error:
        held.close()
        raise ConfigError(
            said("The desk cannot listen there: {why}.", why=str(error.strerror or error)),
            f"{host}:{port}",
            said("Name another port with --port, or leave it out to take a free one."),
        ) from error
    return held


def _warm(desk: Desk) -> None:
    """Read what the first views ask for; a fault is told by the view that meets it."""
    for kept in desk.kept.values():
        with suppress(Exception):
            kept.now()
            kept.readings()
    # Minutes are for a closer look: meanwhile the first view has the processor to itself.
    time.sleep(_FIRST_VIEW_S)
    for kept in desk.kept.values():
        with suppress(Exception):
            kept.readings().tiers.load()
