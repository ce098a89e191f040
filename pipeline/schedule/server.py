"""The server that schedules runs: one of our own, on this machine, known by a word it was told.

Whatever answers at an address may be anybody's, another user's of the machine too, and who answers
decides what is run and when. So the server is started here, on a port that was free, is asked for
a word that only it was given, and is watched as the process it is. A site that runs a server of its
own says so in the environment (``PREFECT_API_URL``); nothing else is ever asked for one.
"""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from pipeline.base import ConfigError, LostpolError, keep_private
from pipeline.mill import Mill
from pipeline.words import said

SITES_OWN: Final = "PREFECT_API_URL"
_PROGRAM: Final = Path(__file__).with_name("with_starter.py")
_THIS_MACHINE: Final = "127.0.0.1"
_PATIENCE_S: Final = 120.0
_END_S: Final = 10.0
#: A port may be taken by another between our look at it and the server's: tries of another one.
_TRIES: Final = 3
#: How often a server is looked for [s], and how often in a row it may not answer.
_LOOK_S: Final = 10.0
_MOST_MISSED: Final = 6
#: How often its process is looked at meanwhile [s].
_PROCESS_LOOK_S: Final = 0.5
#: A setting that a server never uses itself and tells when asked: there it keeps its word.
_WORD_IN: Final = "PREFECT_DEPLOYMENTS_DEFAULT_WORK_POOL_NAME"
_WORD_AT: Final = ("deployments", "default_work_pool_name")


@dataclass(frozen=True, slots=True)
class Server:
    """A server that schedules.

    Attributes
    ----------
    url : str
        Address of its API.
    process : subprocess.Popen or None
        The server itself, where it is our own.
    """

    url: str
    process: subprocess.Popen[bytes] | None = None

    def is_gone(self) -> bool:
        """Tell whether our own server has ended; another's cannot be seen."""
        return self.process is not None and self.process.poll() is not None


def address_of(mills: Sequence[Mill]) -> tuple[str, int]:
    """Host and port that the descriptions name for the server; port 0 for any free one.

    Raises
    ------
    ConfigError
        They name different ones.
    """
    named = sorted({mill.schedule.listen for mill in mills if mill.schedule.listen is not None})
    if len(named) > 1:
        raise ConfigError(
            said("The mills name different addresses for the server that schedules them."),
            ", ".join(named),
            said("Give the same [schedule] listen in all of them, or in one alone."),
        )
    if not named:
        return _THIS_MACHINE, 0
    parts = urlsplit(f"//{named[0]}")
    return parts.hostname or _THIS_MACHINE, parts.port or 0


@contextmanager
def own_server(host: str = _THIS_MACHINE, port: int = 0) -> Iterator[Server]:
    """Give a server of our own while it lasts; it ends with this process.

    Parameters
    ----------
    host, port : str, int
        Where it listens; port 0 for any free one.

    Raises
    ------
    LostpolError
        It did not start.
    ConfigError
        The address named is taken, or none of this machine.
    """
    server = _started(host, port)
    assert server.process is not None
    try:
        yield server
    finally:
        server.process.terminate()
        try:
            server.process.wait(timeout=_END_S)
        except subprocess.TimeoutExpired:
            _kill(server)
        _close(server.process)


def _started(host: str, port: int) -> Server:
    keep_private()  # its history names descriptions and what became of runs
    for _ in range(_TRIES if port == 0 else 1):
        word = f"lostpol-{secrets.token_hex(16)}"
        at = _free_port(host, port)
        server = Server(f"http://{_in_url(host)}:{at}/api", _process(host, at, word))
        if _comes_up(server, word):
            return server
        _kill(server)
    raise LostpolError(
        said("The server that schedules runs did not start."),
        server.url,
        said(
            "See what holds that port, or name another as [schedule] listen. Or run lostpol "
            "nightly from cron or a timer (configs/README.md)."
        ),
    )


def _process(host: str, port: int, word: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-P", str(_PROGRAM)]
    return subprocess.Popen(
        [*command, "--host", host, "--port", str(port)],
        env=os.environ | {_WORD_IN: word},
        stdin=subprocess.PIPE,  # held open; it ends when that is closed
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        # Ctrl-C is for the runner, which still needs the server to take its schedules down.
        start_new_session=True,
    )


def _free_port(host: str, port: int) -> int:
    """Any free port where none is named; else the one that is."""
    try:
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            # A port just left by an earlier server counts as free, as it does for the server.
            if sys.platform != "win32":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
            return int(probe.getsockname()[1])
    except OSError as error:
        raise ConfigError(
            said("No server can listen there: {why}.", why=str(error.strerror or error)),
            said("[schedule] listen, {host}:{port}", host=host, port=port),
            said(
                "Name a free port of this machine, or leave listen out: any free one is taken then."
            ),
        ) from error


def _comes_up(server: Server, word: str) -> bool:
    """Wait until the server answers with its word; False when it ended or another answers."""
    give_up = time.monotonic() + _PATIENCE_S
    while not server.is_gone() and time.monotonic() < give_up:
        if answers(server.url) and _word_of(server.url) == word:
            return not server.is_gone()
        time.sleep(_PROCESS_LOOK_S)
    return False


def _word_of(url: str) -> str | None:
    try:
        with _open(f"{url}/admin/settings") as answer:
            told = json.load(answer)
    except (OSError, ValueError):
        return None
    for name in _WORD_AT:
        told = told.get(name) if isinstance(told, dict) else None
    return told if isinstance(told, str) else None


def answers(url: str) -> bool:
    """Tell whether anybody answers at an address."""
    try:
        with _open(f"{url}/health"):
            return True
    except (OSError, ValueError):
        return False


def _open(url: str) -> Any:  # noqa: ANN401  (urllib's own type)
    """Ask the machine itself, past any proxy, which would be asked for an address of its own."""
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    return direct.open(url, timeout=2)


def _kill(server: Server) -> None:
    if server.process is not None:
        server.process.kill()
        server.process.wait()
        _close(server.process)


def _close(process: subprocess.Popen[bytes]) -> None:
    if process.stdin is not None:
        process.stdin.close()


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def watch(server: Server) -> None:
    """End this process when its server is gone: without one, nothing is started ever again.

    What keeps services running sees that and starts it anew. A run at work is a process of its
    own, and goes on to its end. Our own server is gone when its process is, whoever answers at its
    port then; it is gone, too, when nobody has answered for a minute.
    """
    missed = 0
    while missed < _MOST_MISSED and not _ended_within(server, _LOOK_S):
        missed = 0 if answers(server.url) else missed + 1
    error = LostpolError(
        said("The server that schedules runs is gone, so no run would be started any more."),
        server.url,
        said("Start lostpol serve again; as a service it is started by itself (configs/schedule)."),
    )
    _kill(server)  # one that answers no more would hold its port
    sys.stderr.write(f"{error}\n")
    sys.stderr.flush()
    # The server's own client waits for it in other threads, and would hold up an orderly end.
    os._exit(error.exit_code)


def _ended_within(server: Server, span_s: float) -> bool:
    """Wait for a while, or until our own server has ended."""
    until = time.monotonic() + span_s
    while not server.is_gone():
        left_s = until - time.monotonic()
        if left_s <= 0.0:
            return False
        time.sleep(min(left_s, _PROCESS_LOOK_S))
    return True
