"""Where a mill keeps its findings and dossiers, and which dossiers are written."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from pipeline.mill import Mill
from pipeline.store.store import Store

PAGE: Final = "dossier.html"
#: Ids name folders, so nothing else may stand in them.
SAFE_ID: Final = re.compile(r"[0-9a-z]{1,64}")


def store_of(mill: Mill) -> Store:
    """Findings store of a mill."""
    return Store(mill.database_path, mill.key, readers=mill.readers)


def published_store_of(mill: Mill) -> Store:
    """Findings store of a mill as it was last published: for what only reads, and may be slow."""
    return store_of(mill).as_published()


def dossier_home(mill: Mill) -> Path:
    """Folder of all dossiers of a mill, one folder a finding."""
    return mill.reports_path / "dossier"


def dossiers_of(mill: Mill, finding_ids: Iterable[str]) -> dict[str, str]:
    """Address of each dossier that is written, seen from a report of the same mill.

    Parameters
    ----------
    finding_ids : iterable of str
        Findings whose dossiers are looked for.
    """
    home = dossier_home(mill)
    safe = (name for name in finding_ids if SAFE_ID.fullmatch(name))
    return {name: f"../dossier/{name}/{PAGE}" for name in safe if (home / name / PAGE).is_file()}
