"""A look at who may read the store: files of an earlier version, or copied in by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pipeline.base import open_to_others
from pipeline.care.signs import Look, Sign
from pipeline.mill import Mill
from pipeline.store import published_store_of
from pipeline.words import said

_ABOUT: Final = said("Rights")


def rights(mill: Mill) -> Iterator[Sign]:
    """See whether others on this machine may read what lies in the store."""
    places = [p for p in (mill.store_path, mill.lake) if isinstance(p, Path) and p.is_dir()]
    if not places:
        return
    meant = published_store_of(mill).published if mill.readers != "owner" else None
    for place in places:
        found = [path for path in (place, *place.rglob("*")) if _is_open(path, meant)]
        if found:
            what = said(
                "others may read {found} files and folders of {place}, first {found2}",
                found=len(found),
                place=place,
                found2=found[0],
            )
            cure = said(
                'If nobody else should, take that right away: chmod -R go-rwx "{place}". [mill] '
                "readers lets others read the published copy; the next run gives it to them.",
                place=place,
            )
            yield Sign(_ABOUT, "look", what, cure)
        else:
            yield Sign(_ABOUT, "fine", said("only its own user reads {place}", place=place))


def _is_open(path: Path, meant: Path | None) -> bool:
    return path != meant and not path.is_symlink() and path.exists() and open_to_others(path)


RIGHTS: Final[tuple[tuple[str, Look], ...]] = ((_ABOUT, rights),)
