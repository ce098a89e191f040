"""A run on a store that is kept whole: what is rotten is set aside, made anew, and told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pipeline.mill import Mill
from pipeline.run.log import log_event
from pipeline.stages import Mended, lines_of, mend, mend_days_of, mending

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Unread:
    """Something that could not be read, and why; what waits for another run is no fault.

    ``what`` is what it is called, where that is not the name of a file.
    """

    path: Path
    why: str
    waits: bool = False
    what: str = ""


def kept_whole(
    mill: Mill, work: Callable[[list[Unread]], T], *, thorough: bool = False
) -> tuple[T, tuple[str, ...]]:
    """Carry out a run; when it meets something rotten, mend the store and begin it anew.

    Parameters
    ----------
    work : callable
        The run, given what could not be made anew.
    thorough : bool
        Look at every stored file first, not only at those that the run reads.

    Returns
    -------
    result
        What the run gives.
    mended : tuple of str
        What was rotten, in words.
    """
    late = [_unread(mended, waits=True) for mended in mend_days_of(mill, []) if mended.cure]
    known = {item.what for item in late}
    found: list[Mended] = []

    def tell(mended: Mended) -> None:
        if mended.what not in known:
            found.append(mended)
            log_event(mill, "mended", what=mended.what, how=mended.how, cure=mended.cure)

    for mended in mend(mill) if thorough else ():
        tell(mended)
    result = mending(mill, lambda: work([*late, *map(_unread, _uncured(found))]), tell)
    return result, tuple(lines_of(found))


def _uncured(found: list[Mended]) -> list[Mended]:
    return [mended for mended in found if mended.cure]


def _unread(mended: Mended, *, waits: bool = False) -> Unread:
    return Unread(Path(mended.what), f"{mended.how}. {mended.cure}", waits, mended.what)
