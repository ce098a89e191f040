"""One run, and one sender of mail, at a time: operating-system locks in the mill's store folder.

The system drops the lock when the process ends, however it ends, so nothing has to be cleaned up
after a crash.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from pipeline.config import Mill
from pipeline.errors import ConfigError, StoreBusyError

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[str]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _lock_file(mill: Mill, name: str) -> IO[str]:
    try:
        mill.store_path.mkdir(parents=True, exist_ok=True)
        return (mill.store_path / name).open("a", encoding="utf-8")
    except OSError as error:
        raise ConfigError(
            f"The store of {mill.name} cannot be written to: {error.strerror}.",
            str(mill.store_path),
            f"Give [mill] store in {mill.config_path.name} a folder you may write to.",
        ) from error


@contextmanager
def only_run(mill: Mill) -> Iterator[None]:
    """Hold the mill's store for one run.

    Raises
    ------
    StoreBusyError
        Another run holds it.
    ConfigError
        The folder cannot be made or written to.
    """
    with _lock_file(mill, "run.lock") as file:
        try:
            _take(file)
        except OSError as error:
            raise StoreBusyError(
                f"Another run of lostpol works on the store of {mill.name}.",
                str(mill.store_path),
                "Wait until it has ended, then run the same command again.",
            ) from error
        yield


@contextmanager
def only_sender(mill: Mill, patience_s: float = 5.0) -> Iterator[None]:
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
    give_up = time.monotonic() + patience_s
    with _lock_file(mill, "outbox.lock") as file:
        while True:
            try:
                _take(file)
                break
            except OSError as error:
                if time.monotonic() >= give_up:
                    raise StoreBusyError(
                        f"Another lostpol is sending the mail of {mill.name}.",
                        str(mill.store_path),
                        "It takes what waits with it; look again with lostpol outbox MILL.",
                    ) from error
            time.sleep(0.1)
        yield
