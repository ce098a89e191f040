"""Units that a Parquet file states of its columns, in the metadata of columns or of the file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

import pyarrow.parquet as pq

#: Keys under which units are stated (common practice).
_KEYS: Final = (
    "unit", "units", "uom", "eu", "eng_unit", "eng_units", "engineering_units", "einheit",
    "unidad", "unidade", "unite", "unité",
)  # fmt: skip


def column_units(path: Path) -> dict[str, str]:
    """Units by column; empty where the file states none."""
    schema = pq.read_schema(path)
    found = _of_file(schema.metadata or {})
    for column in schema:
        for key, text in _plain(column.metadata or {}).items():
            if key.casefold() in _KEYS and text.strip():
                found[column.name.strip()] = text.strip()
    return found


def _of_file(metadata: Mapping[bytes, bytes]) -> dict[str, str]:
    """Units that the file states of all its columns under one key, as JSON."""
    found: dict[str, str] = {}
    for key, text in _plain(metadata).items():
        if key.casefold() not in _KEYS:
            continue
        with suppress(ValueError):
            told = json.loads(text)
            if isinstance(told, dict):
                found |= {str(k).strip(): v.strip() for k, v in told.items() if isinstance(v, str)}
    return found


def _plain(metadata: Mapping[bytes, bytes]) -> dict[str, str]:
    return {
        key.decode("utf-8", "replace"): text.decode("utf-8", "replace")
        for key, text in metadata.items()
    }
