"""A look at everything a run depends on: what is wrong, in plain words, and the cure of each.

Nothing is changed. What can stop or falsify a run is *wrong*; what a person should know of but
runs bear is to *look at*. The command ends with code 7 when anything is wrong.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict

from pipeline.base import LostpolError, UnwellError
from pipeline.care.around import AROUND
from pipeline.care.rights import RIGHTS
from pipeline.care.signs import WORDS, Look, Sign
from pipeline.care.store import STORE
from pipeline.mill import Mill
from pipeline.words import counted, joined, said


def examine(mill: Mill) -> list[Sign]:
    """Look at everything; a look that itself fails is a sign too."""
    signs: list[Sign] = []
    for about, look in (*STORE, *RIGHTS, *AROUND):
        signs += _seen(mill, about, look)
    return signs


def _seen(mill: Mill, about: str, look: Look) -> Iterator[Sign]:
    try:
        yield from look(mill)
    except LostpolError as error:
        where = error.where.split("\n")[0]
        yield Sign(
            about, "wrong", said("{what} ({where})", what=error.what, where=where), error.next_step
        )
    except OSError as error:
        what = said("cannot be looked at: {why}", why=str(error.strerror or error))
        yield Sign(
            about,
            "wrong",
            what,
            said("Grant the right to read {store_path}.", store_path=mill.store_path),
        )


def sign_lines(signs: Iterable[Sign]) -> list[str]:
    """Signs for a terminal, the worst first."""
    order = list(WORDS)[::-1]
    lines = []
    # That nothing comes any more is said first: all else is of days gone by.
    for sign in sorted(signs, key=lambda s: (order.index(s.state), s.about != "Readings")):
        lines.append(
            said(
                "{state}  {about}: {what}",
                state=WORDS[sign.state],
                about=sign.about,
                what=sign.what,
            )
        )
        if sign.cure:
            lines.append(said("       -> {cure}", cure=sign.cure))
    return lines


def as_json(mill: Mill, signs: Iterable[Sign]) -> str:
    """Signs for other programs."""
    rows = [asdict(sign) for sign in signs]
    well = all(row["state"] != "wrong" for row in rows)
    return json.dumps({"mill": mill.key, "well": well, "signs": rows}, indent=2)


def require_well(mill: Mill, signs: Iterable[Sign]) -> None:
    """End with the code of an unwell store when anything is wrong.

    Raises
    ------
    UnwellError
        Something stops or falsifies runs.
    """
    wrong = [sign.about for sign in signs if sign.state == "wrong"]
    if wrong:
        raise UnwellError(
            counted(
                len(wrong),
                "{n} of the things a run of {name} depends on is wrong.",
                "{n} of the things a run of {name} depends on are wrong.",
                name=mill.name,
            ),
            joined(", ", wrong),
            said("Follow the cures above, then run lostpol health again."),
        )
