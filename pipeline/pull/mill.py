"""What pulling needs to know of a mill."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from pipeline.exports import MillClock
from pipeline.mill import Exports


class PullMill(MillClock, Protocol):
    """What pulling needs to know of a mill."""

    @property
    def exports(self) -> Exports:
        """Layouts of export files and how much may be refused."""

    @property
    def lake_path(self) -> Path | str:
        """Folder of the lake, or its URL."""

    @property
    def incoming_path(self) -> Path:
        """Folder of this machine in which exports wait for the lake."""
