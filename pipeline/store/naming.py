"""Which finding a person means: by its id, never by its place in a list.

Numbers of a list move with every run and every verdict, so that the one that was read may be
another finding's by now. An id stays.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pipeline.base import ConfigError
from pipeline.mill import Mill
from pipeline.words import clean, joined, said, section_words, span_words, tonnes, words_of

#: Shortest beginning of an id that is understood [characters].
LEAST_PREFIX: Final = 4
_PLACE: Final = re.compile(r"#?\s*(?P<place>[0-9]{1,3})\.?")
_HOW: Final = said(
    "The id stands beside each finding in lostpol findings MILL and in every report."
)


def chosen(findings: pl.DataFrame, which: str, mill: Mill | None = None) -> dict[str, Any]:
    """Find the finding a person means.

    Parameters
    ----------
    findings : polars.DataFrame
        Findings with ``finding_id`` and ``rank``.
    which : str
        An id, or its beginning.
    mill : Mill, optional
        For saying what stands at a number of the list.

    Raises
    ------
    ConfigError
        None or several are meant, or a number of a list was given.
    """
    word = which.strip().lower()
    if number := _PLACE.fullmatch(word):
        raise _number_given(findings, int(number["place"]), mill)
    if len(word) < LEAST_PREFIX:
        cure = said(
            "Give the id, or at least its first {least} characters. {how}",
            least=LEAST_PREFIX,
            how=_HOW,
        )
        raise ConfigError(said("This is too little to tell a finding by."), clean(which), cure)
    found = findings.filter(pl.col("finding_id").str.starts_with(word))
    if found.height == 1:
        return found.row(0, named=True)
    if found.is_empty():
        raise ConfigError(
            said("There is no such finding."),
            said("asked for: “{which}”", which=clean(which)),
            _HOW,
        )
    names = ", ".join(found["finding_id"])
    raise ConfigError(
        said("Several findings begin like this."),
        clean(which),
        said("There are: {names}.", names=names),
    )


def _number_given(findings: pl.DataFrame, place: int, mill: Mill | None) -> ConfigError:
    """Say why a number is not taken, and which finding stands there now."""
    here = findings.filter(pl.col("rank") == place)
    what = said("A finding is named by its id: numbers of a list move with every run and verdict.")
    if here.is_empty():
        return ConfigError(what, said("{place}: no finding stands there now", place=place), _HOW)
    row = here.row(0, named=True)
    name = row["finding_id"]
    now = name if mill is None else joined(", ", (name, finding_words(row, mill)))
    cure = said(
        "If that is the one you mean, give {name} in place of {place}. {how}",
        name=name,
        place=place,
        how=_HOW,
    )
    return ConfigError(what, said("{place}: there stands now {now}", place=place, now=now), cure)


def finding_words(row: Mapping[str, Any], mill: Mill) -> str:
    """Cause, place, time and tonnes of a finding, in one line of plant time."""
    kinds = {vessel.name: str(vessel.kind) for vessel in mill.station.vessels}
    where = section_words(str(row["section"]), kinds)
    when = span_words(row["started"], row["ended"], mill.tz)
    lost = tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"])
    name = words_of(str(row["cause"])).name
    return joined("", (name, ", ", where, ", ", when, f" ({mill.zone}), ", lost))
