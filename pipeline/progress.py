"""How a long piece of work says how far it is, without knowing who listens."""

from __future__ import annotations

from collections.abc import Callable

#: Called with what is being done, how many parts are done, and how many there are.
Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, total: int) -> None:
    """Listen to nothing."""
