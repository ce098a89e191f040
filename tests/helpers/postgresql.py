"""A PostgreSQL server of a test's own, with or without TLS, for as long as it is asked for."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
import trustme

USER, PASSWORD, DATABASE = "reader", "hunter-of-secrets", "postgres"
_ROOT = "postgres"


class Server:
    """A server on 127.0.0.1; `start` it again with other rules as often as wanted."""

    def __init__(self, folder: Path, authority: trustme.CA, **run: object) -> None:
        self._data, self._run = folder / "data", run
        self.authority = authority
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]

    def start(self, *, tls: bool, method: str = "scram-sha-256", kind: str = "host") -> None:
        """Let it run, taking connections and passwords by `kind` and `method` of pg_hba.conf."""
        self.stop()
        lines = [
            f"port = {self.port}",
            "listen_addresses = '127.0.0.1'",
            f"unix_socket_directories = '{self._data}'",
            f"ssl = {'on' if tls else 'off'}",
            f"ssl_cert_file = '{self._data.parent / 'server.pem'}'",
            f"ssl_key_file = '{self._data.parent / 'server.key'}'",
            "fsync = off",
        ]
        (self._data / "postgresql.conf").write_text("\n".join(lines) + "\n", encoding="utf-8")
        rules = f"local all {_ROOT} trust\n{kind} all all 127.0.0.1/32 {method}\n"
        (self._data / "pg_hba.conf").write_text(rules, encoding="utf-8")
        self._control("start", "-l", str(self._data.parent / "log"))

    def stop(self) -> None:
        """Let it run no more."""
        if (self._data / "postmaster.pid").exists():
            self._control("stop", "-m", "immediate")

    def as_owner(self) -> psycopg.Connection[tuple[object, ...]]:
        """Connection that may write."""
        return psycopg.connect(
            host=str(self._data), port=self.port, user=_ROOT, dbname=DATABASE, autocommit=True
        )

    def _control(self, what: str, *more: str) -> None:
        command = [_program("pg_ctl"), what, "-w", "-D", str(self._data), *more]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=60, **self._run)  # type: ignore[call-overload]


def _program(name: str) -> str:
    found = shutil.which(name) or next(
        (str(p) for p in sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))), None
    )
    if found is None:
        pytest.skip(f"{name} of PostgreSQL is absent")
    return found


@contextmanager
def postgresql() -> Iterator[Server]:
    """Give a server that is not started yet, with a user that may read; gone afterwards."""
    initdb = _program("initdb")
    run: dict[str, object] = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        try:
            owner = pwd.getpwnam("postgres")
        except KeyError:
            pytest.skip("PostgreSQL does not run as root, and there is no user postgres")
        run = {"user": owner.pw_uid, "group": owner.pw_gid, "cwd": "/"}
    with tempfile.TemporaryDirectory(prefix="lostpol-postgresql-") as name:
        folder = Path(name)
        authority = trustme.CA()
        made = authority.issue_cert("127.0.0.1", "localhost")
        made.cert_chain_pems[0].write_to_path(folder / "server.pem")
        made.private_key_pem.write_to_path(folder / "server.key")
        (folder / "server.key").chmod(0o600)
        for path in (folder, *folder.iterdir()):
            if run:
                os.chown(path, owner.pw_uid, owner.pw_gid)
        command = [initdb, "-D", str(folder / "data"), "-U", _ROOT, "-A", "trust", "-N"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=120, **run)  # type: ignore[call-overload]
        server = Server(folder, authority, **run)
        try:
            server.start(tls=False)
            with server.as_owner() as owned:
                owned.execute(f"CREATE ROLE {USER} LOGIN PASSWORD '{PASSWORD}'")
                owned.execute("CREATE TABLE readings (at timestamptz, point text, reading numeric)")
                owned.execute(f"GRANT SELECT ON readings TO {USER}")
            yield server
        finally:
            server.stop()
