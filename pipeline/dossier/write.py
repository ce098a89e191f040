"""The dossier of one finding: a page that needs nothing else, and its data beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pipeline.base import ConfigError, DataError, keep_private
from pipeline.dossier.export import lab_frame, minutes_frame, steps_frame, write_both, write_whole
from pipeline.dossier.gather import gather
from pipeline.dossier.page import make_page
from pipeline.dossier.similar import similar_episodes
from pipeline.mill import Mill
from pipeline.store import PAGE, SAFE_ID, chosen, dossier_home, published_store_of
from pipeline.words import said

_DATA = ("minutes", "laboratory", "steps")


def write_dossier(mill: Mill, which: str, out: Path | None = None) -> Path:
    """Write the dossier of a finding: HTML page, and minutes, results and steps beside it.

    Parameters
    ----------
    mill : Mill
    which : str
        Id of the finding, or its beginning.
    out : Path, optional
        Folder; without one, ``reports/dossier/<finding_id>`` in the mill's store. The dossiers
        of similar losses are then written too, where there are none yet, so that links lead on.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    ConfigError
        No such finding, or the folder cannot be written to.
    DataError
        There are no findings yet, or the finding's id cannot name a folder.
    """
    store = published_store_of(mill)
    finding = chosen(store.findings(withdrawn=True), which, mill)
    if out is not None:
        return _write(mill, finding, out, {})
    keep_private()  # what --out names is the user's own; the store is not
    home = dossier_home(mill)
    alike = [
        item.episode.finding_id for item in similar_episodes(finding, store.findings().to_dicts())
    ]
    known = [name for name in alike if SAFE_ID.fullmatch(name)]
    page = _write(mill, finding, home / _folder_name(finding), _links(known))
    for name in known:
        if not (home / name / PAGE).exists():
            # What the page links to must be there to be followed.
            other = chosen(store.findings(), name)
            near = similar_episodes(other, store.findings().to_dicts())
            there = [i.episode.finding_id for i in near if i.episode.finding_id in known]
            _write(mill, other, home / name, _links([_folder_name(finding), *there]))
    return page


def dossier_page(mill: Mill, which: str, links: Mapping[str, str]) -> str:
    """The dossier of a finding as HTML text; nothing is written.

    Parameters
    ----------
    mill : Mill
    which : str
        Id of the finding, or its beginning.
    links : mapping of str to str
        Address of the dossier of other findings, by id.
    """
    finding = chosen(published_store_of(mill).findings(withdrawn=True), which, mill)
    return make_page(gather(mill, finding), links, []).html


def _folder_name(finding: dict[str, Any]) -> str:
    name = str(finding["finding_id"])
    if not SAFE_ID.fullmatch(name):
        raise DataError(
            said("The id of this finding is not one that lostpol gave."),
            repr(name[:80]),
            said("Run lostpol backfill, or name a folder with --out."),
        )
    return name


def _links(names: Sequence[str]) -> dict[str, str]:
    """Relative addresses of dossiers that lie side by side."""
    return {name: f"../{name}/{PAGE}" for name in names}


def _write(mill: Mill, finding: dict[str, Any], folder: Path, links: Mapping[str, str]) -> Path:
    material = gather(mill, finding)
    exported = [f"{part}.{kind}" for part in _DATA for kind in ("csv", "parquet")]
    page = make_page(material, links, exported)
    frames = (minutes_frame(material, page.lanes), lab_frame(material), steps_frame(page.steps))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for part, frame in zip(_DATA, frames, strict=True):
            write_both(folder, part, frame)
        write_whole(folder / PAGE, page.html.encode())
    except OSError as fault:
        raise ConfigError(
            said("The dossier could not be written."),
            f"{folder}: {fault.strerror or fault}",
            said("Free space, grant the right to write there, or name another folder with --out."),
        ) from fault
    return folder / PAGE
