"""Which findings are listed, and in which order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Final, Literal

import polars as pl

from pipeline.base import ConfigError
from pipeline.mill import Mill
from pipeline.words import CAUSES, joined, said, section_words, words_of

Order = Literal["rank", "time", "tonnes", "sure"]
_ORDERS: Final[dict[str, tuple[str, bool]]] = {
    "rank": ("rank", False),
    "time": ("started", True),
    "tonnes": ("lost_t", True),
    "sure": ("confidence", True),
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is asked for; nothing left out and by rank where nothing is said.

    Attributes
    ----------
    since : date or None
        Findings that went on at the start of this local day, or later.
    cause, section : str or None
        A name, or a part of how it is said.
    sort : str
        rank, time (last first), tonnes or sure (most first).
    limit : int or None
        So many at most.
    """

    since: date | None = None
    cause: str | None = None
    section: str | None = None
    sort: Order = "rank"
    limit: int | None = None

    @property
    def narrowed(self) -> bool:
        """Whether something may be left out."""
        return any(v is not None for v in (self.since, self.cause, self.section, self.limit))


def choose(mill: Mill, found: pl.DataFrame, chosen: Chosen) -> pl.DataFrame:
    """Findings that are asked for, in order.

    Raises
    ------
    ConfigError
        A cause or a section that no finding has, with those that there are.
    """
    held = found
    if chosen.since is not None:
        start = datetime.combine(chosen.since, time(), tzinfo=mill.tz).astimezone(UTC)
        held = held.filter(pl.col("ended").is_null() | (pl.col("ended") > start))
    kinds = {vessel.name: str(vessel.kind) for vessel in mill.station.vessels}
    causes = {name: words_of(name).name for name in found["cause"].unique().sort()}
    sections = {name: section_words(name, kinds) for name in found["section"].unique().sort()}
    if chosen.cause is not None:
        known = causes | {name: words.name for name, words in CAUSES.items()}
        held = held.filter(pl.col("cause").is_in(_meant("--cause", chosen.cause, known, causes)))
    if chosen.section is not None:
        meant = _meant("--section", chosen.section, sections | kinds, sections)
        held = held.filter(pl.col("section").is_in(meant))
    column, down = _ORDERS[chosen.sort]
    held = held.sort(column, "started", descending=[down, down], nulls_last=True)
    return held if chosen.limit is None else held.head(chosen.limit)


def _meant(option: str, typed: str, known: dict[str, str], there: dict[str, str]) -> list[str]:
    """Names that something typed may mean: the name itself, else a part of how it is spelled."""
    wanted = typed.strip().lower().replace("-", " ").replace("_", " ")
    spelled = {
        name: (name.replace("_", " ").lower(), words.lower()) for name, words in known.items()
    }
    same = [name for name, words in spelled.items() if wanted in words]
    found = same or [
        name for name, words in spelled.items() if any(wanted in word for word in words)
    ]
    if not found or not wanted:
        choice = joined(
            "; ",
            [said("{name} ({words})", name=name, words=words) for name, words in there.items()],
        )
        raise ConfigError(
            said("{typed} means no finding here.", typed=repr(typed)),
            option,
            said("There are: {names}.", names=choice or said("none yet")),
        )
    return found
