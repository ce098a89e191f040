"""The desk itself: the mills it shows, and what every page of it knows."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import polars as pl

from pipeline.base import ConfigError
from pipeline.desk.kept import Kept
from pipeline.handbook import Command, handbook_page
from pipeline.mill import Mill
from pipeline.words import clean, said

_WAITS: Final = ("look_again",)


@dataclass
class Desk:
    """Mills shown, and the token that a change needs.

    Attributes
    ----------
    kept : dict of str to Kept
        By the name of the mill in addresses.
    view_only : bool
        Nothing may be changed.
    token : str
        Made anew each time the desk is started.
    writing : dict of str to Lock
        One change of a mill at a time.
    commands : callable
        Gives what the command line can do, for the handbook.
    """

    kept: dict[str, Kept]
    view_only: bool = False
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    writing: dict[str, threading.Lock] = field(default_factory=dict)
    commands: Callable[[], tuple[Command, ...]] = tuple

    @cached_property
    def handbook(self) -> str:
        """The handbook, made when somebody first asks for it."""
        return handbook_page(self.commands(), at_desk=True)

    def of(self, key: str) -> Kept:
        """What is kept of a mill.

        Raises
        ------
        ConfigError
            There is no such mill here.
        """
        if key not in self.kept:
            raise ConfigError(
                said("There is no such mill at this desk."),
                clean(key, 60),
                said("There are: {names}.", names=", ".join(self.kept)),
            )
        return self.kept[key]

    def page(self, key: str, view: str) -> dict[str, Any]:
        """What every page of a mill shows."""
        kept = self.of(key)
        return self.bare(view) | {
            "base": f"/m/{key}",
            "mill_name": clean(kept.mill.name),
            "zone": kept.mill.zone,
            "waiting_count": waiting(kept.now().findings).height,
        }

    def bare(self, view: str) -> dict[str, Any]:
        """What every page shows, of whichever mill."""
        return {
            "view": view,
            "base": "",
            "mill_name": "",
            "zone": "",
            "waiting_count": 0,
            "many": len(self.kept) > 1,
            "view_only": self.view_only,
            "token": "" if self.view_only else self.token,
            "said": "",
        }


def desk_of(
    mills: Sequence[Mill],
    *,
    view_only: bool = False,
    commands: Callable[[], tuple[Command, ...]] = tuple,
) -> Desk:
    """A desk for some mills.

    Raises
    ------
    ConfigError
        Two descriptions have the same key.
    """
    kept: dict[str, Kept] = {}
    for mill in mills:
        if mill.key in kept:
            raise ConfigError(
                said("Two descriptions have the same key."),
                f"{kept[mill.key].mill.config_path}, {mill.config_path}: {mill.key}",
                said("Name each mill once, or give one of them another [mill] key."),
            )
        kept[mill.key] = Kept(mill)
    writing = {key: threading.Lock() for key in kept}
    return Desk(kept, view_only, writing=writing, commands=commands)


def waiting(findings: pl.DataFrame) -> pl.DataFrame:
    """Findings that wait for a verdict, first rank first: none yet, or to look at again."""
    standing = findings.filter(pl.col("status") != "withdrawn")
    asked = pl.col("verdict").is_null() | pl.col("verdict").is_in(list(_WAITS))
    return standing.filter(asked).sort("rank", nulls_last=True)
