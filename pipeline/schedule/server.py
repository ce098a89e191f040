"""The server that starts runs when they are due: the site's own, or one of this machine."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from prefect.settings import PREFECT_API_URL, temporary_settings

from pipeline.base import LostpolError

_USUAL_PORT: Final = 4200
_USUAL_URL: Final = f"http://127.0.0.1:{_USUAL_PORT}/api"
_SERVER_PATIENCE_S: Final = 120.0


@contextmanager
def scheduling_server(*, shared: bool = True) -> Iterator[str]:
    """Give a server that schedules: the site's own, or one on this machine while it lasts.

    The temporary server that Prefect starts by itself never starts scheduled runs. Ours listens
    on this machine only and keeps its history in Prefect's home folder.

    Parameters
    ----------
    shared : bool
        A server that somebody else runs at the usual port will do. It goes when they like.

    Raises
    ------
    LostpolError
        The server did not start.
    """
    url = PREFECT_API_URL.value()
    if url is not None:
        yield url
        return
    # Started by hand, or left running by a serve that was killed.
    if shared and answers(_USUAL_URL):
        with _reached_at(_USUAL_URL):
            yield _USUAL_URL
        return
    port = _free_port()
    url = f"http://127.0.0.1:{port}/api"
    command = [sys.executable, "-m", "prefect", "server", "start"]
    server = subprocess.Popen(
        [*command, "--host", "127.0.0.1", "--port", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        # Ctrl-C is for the runner, which still needs the server to take its schedules down.
        start_new_session=True,
    )
    try:
        _await_health(server, url)
        with _reached_at(url):
            yield url
    finally:
        server.terminate()
        try:
            server.wait(timeout=10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


@contextmanager
def _reached_at(url: str) -> Iterator[None]:
    """Tell this process and the runs it starts, which are processes of their own."""
    os.environ["PREFECT_API_URL"] = url
    try:
        with temporary_settings(updates={PREFECT_API_URL: url}):
            yield
    finally:
        del os.environ["PREFECT_API_URL"]


def _free_port() -> int:
    """Take Prefect's usual port, or any other when it is in use."""
    for port in (_USUAL_PORT, 0):
        with socket.socket() as probe:
            # A port just left by an earlier server counts as free, as it does for the server.
            if sys.platform != "win32":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    return 0


def answers(url: str) -> bool:
    """Tell whether a server answers at an address."""
    try:
        with urllib.request.urlopen(f"{url}/health", timeout=2):
            return True
    except OSError:
        return False


def _await_health(server: subprocess.Popen[bytes], url: str) -> None:
    """Wait until the server answers."""
    give_up = time.monotonic() + _SERVER_PATIENCE_S
    while server.poll() is None and time.monotonic() < give_up:
        if answers(url):
            return
        time.sleep(0.5)
    raise LostpolError(
        "The server that schedules runs did not start.",
        url,
        "Start one by hand with: prefect server start. Or run lostpol nightly from cron.",
    )
