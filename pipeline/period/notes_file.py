"""Where the notes of a mill lie; light to load, for whoever only asks whether there are any."""

from __future__ import annotations

from pathlib import Path

from pipeline.mill import Mill


def notes_path(mill: Mill) -> Path:
    """File of the notes of a mill."""
    return mill.store_path / "notes.csv"
