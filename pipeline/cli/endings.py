"""How a command ends that was typed wrong, or whose reader has had enough."""

from __future__ import annotations

import os
import sys
from datetime import date

from cyclopts import CycloptsError

from pipeline.base import ConfigError, LostpolError


def as_said(error: LostpolError | CycloptsError) -> LostpolError:
    """An error in three lines, whoever noticed it."""
    if isinstance(error, LostpolError):
        return error
    return ConfigError(str(error), "command line", _cure_of(error))


def _cure_of(error: CycloptsError) -> str:
    """How the form that was wanted is written, else where it is explained."""
    kind = getattr(error, "target_type", None)
    token = getattr(error, "token", None)
    if kind is date and token is not None:
        return f"Write a day as year-month-day: {token.keyword or ''} 2025-11-01".replace("  ", " ")
    return "Run lostpol --help, or lostpol COMMAND --help."


def nobody_reads() -> int:
    """End quietly: who reads what is written, such as ``head``, has had enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0
