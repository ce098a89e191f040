"""Entry point of ``lostpol``; light, so that Ctrl-C is answered from the first moment."""

from __future__ import annotations

import sys


def main() -> None:
    """Load the commands and run the one that was typed."""
    try:
        from pipeline.cli import app  # noqa: PLC0415

        app.main()
    except KeyboardInterrupt:
        sys.stderr.write("Stopped by the keyboard, before anything was begun.\n")
        sys.exit(130)
