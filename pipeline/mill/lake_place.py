"""Where the store and the lake of a mill lie, as its description names them.

The store is a folder of the machine that writes. The lake may lie in another folder, or at the URL
of an object store. Nothing of a URL that might be a secret is ever shown.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from urllib.parse import SplitResult, unquote, urlsplit

from pipeline.base import said
from pipeline.mill.faults import Fault

#: Schemes of object stores in which one writing is there whole or not at all.
SCHEMES: Final = ("s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "memory")
_FOLDERS: Final = ("file", "local")
_LIKE_A_URL: Final = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:")
#: What the database takes for the end of a path, or for a step of one.
_NOT_IN_STORE: Final = re.compile(r"\?" if sys.platform == "win32" else r"[?\\]")
#: Schemes whose URLs name a container before the @.
_NAMES_BEFORE_AT: Final = ("az", "abfs", "abfss")
_KEYS: Final = said(
    "Take it out; keys are read from the environment, such as AWS_ACCESS_KEY_ID and "
    "AWS_SECRET_ACCESS_KEY for s3://"
)


def place_faults(store: str, lake: str) -> Iterator[Fault]:
    """Find what is wrong with the places of a store and its lake, as the description has them."""
    if "://" in store:
        problem = said("is a URL; database, lock and reports need a folder of this machine")
        yield Fault(
            "mill.store", problem, said('Name a folder, and the URL as lake = "..." below it')
        )
    yield from _lake_faults(lake)


def read_locations(
    store: str, lake: str | None, folder: Path, faults: list[Fault]
) -> tuple[Path, Path | str | None]:
    """Folder of a store, and folder or URL of its lake, None for the usual one.

    Parameters
    ----------
    store, lake : str
        As the description has them, without faults of their own.
    folder : Path
        That of the description; relative paths begin there.
    faults : list of Fault
        What contradicts is added.
    """
    store_path = (folder / store).resolve()
    place = None if lake is None else _lake_at(lake, folder)
    if odd := _NOT_IN_STORE.search(str(store_path)):
        problem = said(
            'lies in "{store_path}": the database cannot work in a folder with a {odd}',
            store_path=store_path,
            odd=odd[0],
        )
        cure = said("Name a folder whose path has none; that of this file counts, too")
        faults.append(Fault("mill.store", problem, cure))
    if isinstance(place, Path) and store_path.is_relative_to(place):
        # The remains of runs in either would be taken for the other's.
        cure = said("Give the lake a folder of its own")
        faults.append(Fault("mill.lake", said("is a folder that holds the store"), cure))
    return store_path, place


def _lake_faults(lake: str) -> Iterator[Fault]:
    """Find what is wrong with the place of a lake, without showing it."""
    if not _LIKE_A_URL.match(lake):
        return
    try:
        url = urlsplit(lake)
    except ValueError:
        yield Fault("mill.lake", said("is no URL"), said("Write it as s3://bucket/prefix"))
        return
    if url.password is not None or (url.username and url.scheme not in _NAMES_BEFORE_AT):
        yield Fault("mill.lake", said("holds a user name or password"), _KEYS)
    elif url.query or url.fragment or "?" in lake or "#" in lake:
        yield Fault("mill.lake", said("goes on after ? or #, where secrets stand"), _KEYS)
    elif url.scheme in _FOLDERS:
        if url.netloc not in {"", "localhost"} or not url.path.startswith("/"):
            cure = said("Write three slashes, file:///srv/lake, or just the path")
            yield Fault("mill.lake", said("is not the URL of a folder of this machine"), cure)
    elif url.scheme not in SCHEMES:
        cure = said(
            "Use {known}, or mount it as a folder",
            known=", ".join(f"{name}://" for name in SCHEMES[:-1]),
        )
        problem = said(
            '"{scheme}" is not the scheme of an object store that writes files whole',
            scheme=url.scheme,
        )
        yield Fault("mill.lake", problem, cure)
    elif not _is_whole(lake, url):
        problem = said("does not name a bucket and a prefix")
        yield Fault("mill.lake", problem, said("Write it as s3://bucket/prefix, without .. or //"))


def _is_whole(lake: str, url: SplitResult) -> bool:
    levels = url.path.rstrip("/").split("/")[1:]
    clean = not {"", ".", ".."} & set(levels) and "\\" not in lake and "%" not in lake
    return clean and "://" in lake and bool(url.netloc) and url.netloc not in {".", ".."}


def _lake_at(lake: str, folder: Path) -> Path | str:
    if not _LIKE_A_URL.match(lake):
        return (folder / lake).resolve()
    url = urlsplit(lake)
    return Path(unquote(url.path)).resolve() if url.scheme in _FOLDERS else lake.rstrip("/")
