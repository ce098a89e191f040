"""One run at a time: an operating-system lock on the mill's store folder.

The system drops the lock when the process ends, however it ends, so nothing has to be cleaned up
after a crash.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from pipeline.config import Mill
from pipeline.errors import StoreBusyError

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[str]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextmanager
def only_run(mill: Mill) -> Iterator[None]:
    """Hold the mill's store for one run.

    Raises
    ------
    StoreBusyError
        Another run holds it.
    """
    mill.store_path.mkdir(parents=True, exist_ok=True)
    path = mill.store_path / "run.lock"
    with path.open("a", encoding="utf-8") as file:
        try:
            _take(file)
        except OSError as error:
            raise StoreBusyError(
                f"Another run of lostpol works on the store of {mill.name}.",
                str(mill.store_path),
                "Wait until it has ended, then run the same command again.",
            ) from error
        yield
