"""What befalls runs in kill_nightly.py: small disks, a held database; and the mail server."""

from __future__ import annotations

import random
import re
import shutil
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

from aiosmtpd.controller import Controller


@contextmanager
def small_disk(folder: Path, rng: random.Random):
    """A small file system to fill, and a way to enlarge it; without one, a limit on files."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "lostpol-test", str(folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode == 0:
        grow = ["mount", "-o", "remount,size=200m", str(folder)]
        try:
            yield folder, lambda: subprocess.run(grow, check=True), lambda _rng: None
        finally:
            # Also when a trial failed while a run still writes there.
            subprocess.run(["umount", "--lazy", str(folder)], check=True)
        return
    # One size for all files: some writes succeed, the larger ones do not.
    sizes = lambda rng: round(10 ** rng.uniform(3.0, 6.3))  # noqa: E731
    yield folder, lambda: None, sizes


def fill(disk: Path, share: float, limit) -> None:
    """Leave some of the room that a run needs, at most a few MiB."""
    if limit(random.Random(0)) is not None:
        return
    room = shutil.disk_usage(disk).free
    left = round(share * (8 << 20))
    (disk / "ballast").write_bytes(b"\0" * max(0, room - left))


@contextmanager
def held_open(store: Path, for_s: float | None):
    """Hold the live database open, as an SQL client would, for a while or to the end."""
    code = (
        "import duckdb, sys, time\n"
        "while True:\n"
        "    try:\n"
        "        held = duckdb.connect(sys.argv[1], read_only=True); break\n"
        "    except duckdb.Error: time.sleep(0.01)\n"
        "time.sleep(float(sys.argv[2]))"
    )
    path = str(store / "findings.duckdb")
    holder = subprocess.Popen([sys.executable, "-c", code, path, str(for_s or 3600)])
    try:
        yield
    finally:
        holder.kill()
        holder.wait()


@contextmanager
def mail_server():
    """Take all mail at once; gives the port, and a list of who was given what."""
    taken: list[str] = []

    class Ledger:
        async def handle_DATA(self, _server, _session, envelope):  # noqa: N802
            name = re.search(rb"(?mi)^message-id: *(\S+)", envelope.content)[1].decode()
            taken.append(f"{name} {envelope.rcpt_tos[0]} {envelope.mail_from}")
            return "250 taken"

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Controller(Ledger(), hostname="127.0.0.1", port=port)
    server.start()
    try:
        yield port, taken
    finally:
        server.stop()
