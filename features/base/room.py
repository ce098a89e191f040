"""A room that hands out its names when they are asked for, and loads only what makes those.

A command that lists findings should not wait for the libraries of the search. So a room's
``__init__`` writes its names down for type checkers and the import linter, as imports that do not
run, and gives each at its first use (a module's ``__getattr__``, PEP 562)::

    if TYPE_CHECKING:
        from pipeline.lake.lake import Lake
    else:
        __getattr__ = handed_out(__name__, __file__)
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable
from importlib import import_module


def handed_out(room: str, file: str) -> Callable[[str], object]:
    """Give the ``__getattr__`` of a room, for the names that its ``__init__`` imports for types.

    The names are read from the text of the file, so that they are written once.

    Parameters
    ----------
    room, file : str
        ``__name__`` and ``__file__`` of the room.

    Returns
    -------
    callable
        Gives the object of a name, and keeps it in the room.

    Raises
    ------
    AttributeError
        The callable: the room has no such name.
    """
    makers = _makers(file)

    def of_name(name: str) -> object:
        if name not in makers:
            raise AttributeError(f"module {room!r} has no attribute {name!r}")
        maker, its_name = makers[name]
        found: object = getattr(import_module(maker), its_name)
        setattr(sys.modules[room], name, found)
        return found

    return of_name


def _makers(file: str) -> dict[str, tuple[str, str]]:
    """Module that makes each name, and what it is called there."""
    with open(file, encoding="utf-8") as text:  # noqa: PTH123 - pathlib is slow to load
        tree = ast.parse(text.read())
    return {
        alias.asname or alias.name: (node.module, alias.name)
        for block in tree.body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    }
