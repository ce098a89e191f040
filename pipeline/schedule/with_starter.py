"""A program: a server of Prefect's that ends with whoever started it, however that one ended.

Its standard input is a pipe that the starter holds open and never writes to. The system closes it
with the starter, a killed one too, so that no server is left behind that nobody watches.
"""

from __future__ import annotations

import os
import runpy
import signal
import sys
import threading
import time
from typing import Final

#: How long an orderly end may take [s].
_PATIENCE_S: Final = 10.0


def _end_with_starter() -> None:
    sys.stdin.buffer.read()
    if sys.platform != "win32":
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(_PATIENCE_S)
    os._exit(0)


if __name__ == "__main__":
    threading.Thread(target=_end_with_starter, daemon=True).start()
    sys.argv = ["prefect", "server", "start", *sys.argv[1:]]
    runpy.run_module("prefect", run_name="__main__", alter_sys=True)
