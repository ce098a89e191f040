"""How a command ends that was typed wrong, or whose reader has had enough."""

from __future__ import annotations

import os
import sys
from datetime import date

from cyclopts import CycloptsError

from pipeline.base import ConfigError, LostpolError
from pipeline.words import joined, said


def as_said(error: LostpolError | CycloptsError) -> LostpolError:
    """An error in three lines, whoever noticed it."""
    if isinstance(error, LostpolError):
        return error
    return ConfigError(_what(error), "command line", _cure_of(error))


def _what(error: CycloptsError) -> str:
    words = getattr(error, "unused_tokens", None)
    if not words:
        return str(error)
    return said(
        "What these words are for is not known: {words}.",
        words=joined(", ", [f"'{word}'" for word in words]),
    )


def _cure_of(error: CycloptsError) -> str:
    """How the form that was wanted is written, else where it is explained."""
    kind = getattr(error, "target_type", None)
    token = getattr(error, "token", None)
    if kind is date and token is not None:
        return f"Write a day as year-month-day: {token.keyword or ''} 2025-11-01".replace("  ", " ")
    command = " ".join(getattr(error, "command_chain", None) or ())
    if command:
        return said("How it is written: lostpol {command} --help", command=command)
    return said("Run lostpol --help: it lists the commands.")


def nobody_reads() -> int:
    """End quietly: who reads what is written, such as ``head``, has had enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0
