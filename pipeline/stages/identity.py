"""What a run is called: hashes of all that its result depends on, and of no clock."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable
from importlib.metadata import version
from typing import Any, Final

from pipeline.base import Window, now
from pipeline.mill import Mill

_PACKAGES: Final = ("lostpol", "duckdb", "numpy", "polars", "ruptures", "scikit-learn", "scipy")


def stamp_of(mill: Mill) -> str:
    """Hash of all but readings that a finding depends on: description and versions.

    The layout of what a search keeps counts, too: what was kept in another one is searched again.
    """
    from models.account import DRIVEN_COLUMNS, SUM_COLUMNS  # noqa: PLC0415 - none of it to name a run
    from models.find import LOSS_COLUMNS  # noqa: PLC0415

    versions = versions_here()
    layout = short_hash([*LOSS_COLUMNS, *DRIVEN_COLUMNS, *SUM_COLUMNS])
    return short_hash(
        [mill.config_hash, layout, *(f"{name} {versions[name]}" for name in sorted(versions))]
    )


def describe_run(mill: Mill, flow: str, window: Window, inputs: str) -> dict[str, Any]:
    """Describe a run. Its name depends on readings, description, code and window, on no clock.

    Parameters
    ----------
    inputs : str
        Hash of the readings.
    """
    versions = versions_here()
    span = (window.start.isoformat(), window.end.isoformat())
    return {
        "run_id": short_hash([inputs, mill.config_hash, versions["lostpol"], *span]),
        "flow": flow,
        "window_start": window.start,
        "window_end": window.end,
        "as_of": window.end,
        "config_hash": mill.config_hash,
        "inputs_hash": inputs,
        "versions": versions | {"python": platform.python_version()},
        "started_at": now(),
    }


def versions_here() -> dict[str, str]:
    """Version of each package that a digit may depend on."""
    return {name: version(name) for name in _PACKAGES}


def short_hash(parts: Iterable[str]) -> str:
    """Sixteen characters that tell lists of words apart."""
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:16]
