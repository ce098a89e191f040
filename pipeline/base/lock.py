"""One run, one sender of mail, one writer at a time: operating-system locks in the store folder.

The system drops the lock when the process ends, however it ends, so nothing has to be cleaned up
after a crash.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final, Protocol

from pipeline.base.errors import ConfigError, StoreBusyError
from pipeline.base.message import figure, said
from pipeline.base.private import Readers, private_folder

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[str]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


_PAUSE_S: Final = 0.05


class Holder(Protocol):
    """What a lock needs to know of a mill."""

    @property
    def name(self) -> str:
        """Name of the mill."""

    @property
    def store_path(self) -> Path:
        """Folder that is held."""

    @property
    def config_path(self) -> Path:
        """The mill's description, named in errors."""

    @property
    def readers(self) -> Readers:
        """Who may read the published copy."""


def _lock_file(mill: Holder, name: str) -> IO[str]:
    try:
        private_folder(mill.store_path, mill.readers)
        return (mill.store_path / name).open("a", encoding="utf-8")
    except OSError as error:
        raise ConfigError(
            said(
                "The store of {name} cannot be written to: {why}.",
                name=mill.name,
                why=error.strerror,
            ),
            str(mill.store_path),
            said(
                "Give [mill] store in {name} a folder you may write to.", name=mill.config_path.name
            ),
        ) from error


@contextmanager
def only_run(mill: Holder, wait_s: float = 0.0) -> Iterator[None]:
    """Hold the mill's store for one run.

    Parameters
    ----------
    wait_s : float
        How long to wait for a run that holds it [s].

    Raises
    ------
    StoreBusyError
        Another run holds it.
    ConfigError
        The folder cannot be made or written to.
    """
    with _lock_file(mill, "run.lock") as file:
        if not _taken(file, wait_s):
            raise StoreBusyError(
                said(
                    "Another run of lostpol works on the store of {name}; waited {wait_s} s.",
                    name=mill.name,
                    wait_s=figure(wait_s, "g"),
                )
                if wait_s
                else said("Another run of lostpol works on the store of {name}.", name=mill.name),
                str(mill.store_path),
                said("Wait until it has ended, then run the same command again."),
            )
        yield


@contextmanager
def only_sender(mill: Holder, patience_s: float = 5.0) -> Iterator[None]:
    """Hold the mill's outbox, so that no letter is handed over by two at a time.

    Parameters
    ----------
    patience_s : float
        How long to wait for another sender [s].

    Raises
    ------
    StoreBusyError
        Another lostpol is sending.
    ConfigError
        The folder cannot be made or written to.
    """
    with _lock_file(mill, "outbox.lock") as file:
        if not _taken(file, patience_s):
            raise StoreBusyError(
                said("Another lostpol is sending the mail of {name}.", name=mill.name),
                str(mill.store_path),
                said("It takes what waits with it; look again with lostpol outbox MILL."),
            )
        yield


@contextmanager
def only_writer(database: Path, patience_s: float) -> Iterator[None]:
    """Hold the right to write a findings store, or to put another file in its place.

    The database has a lock of its own; this one also covers the moment between closing one file
    and putting a smaller one in its place (``lostpol tidy``).

    Raises
    ------
    StoreBusyError
        Another lostpol writes.
    """
    with database.with_name(f"{database.stem}.lock").open("a", encoding="utf-8") as file:
        if not _taken(file, patience_s):
            raise StoreBusyError(
                said(
                    "Another lostpol writes to the findings store; waited {patience_s} s.",
                    patience_s=figure(patience_s, "g"),
                ),
                str(database),
                said("Try again when it has ended."),
            )
        yield


def _taken(file: IO[str], patience_s: float) -> bool:
    """Take a lock, waiting for whoever holds it."""
    give_up = time.monotonic() + patience_s
    while True:
        try:
            _take(file)
        except OSError:
            if time.monotonic() >= give_up:
                return False
            time.sleep(_PAUSE_S)
        else:
            return True


def is_running(mill: Holder) -> bool:
    """Tell whether a run holds the mill's store now."""
    path = mill.store_path / "run.lock"
    if not path.exists():
        return False
    try:
        with path.open("a", encoding="utf-8") as file:
            return not _taken(file, 0.0)
    except OSError:
        return False
