"""Frames as sealed files, and seals for files from before there were any."""

from __future__ import annotations

from io import BytesIO

import polars as pl

from pipeline.lake.intact import whole_bytes
from pipeline.lake.seal import BLANK, KEY, sealed, sealed_json
from pipeline.lake.storage import Storage


def frame_bytes(frame: pl.DataFrame) -> bytes:
    """Frame of any kind but readings as a sealed Parquet file; same content, same bytes."""
    content = BytesIO()
    frame.rechunk().write_parquet(
        content,
        compression="zstd",
        compression_level=1,
        row_group_size=1 << 20,
        metadata={KEY: BLANK},
    )
    return sealed(content.getvalue())


def put_seal(storage: Storage, name: str) -> None:
    """Write a file from before there were hashes once more, with the same content and one."""
    content = whole_bytes(storage, name)
    if name.endswith(".json"):
        done = sealed_json(content)
    elif name.startswith("readings/"):
        # It writes with pyarrow, which whoever only reads a lake need not load.
        from pipeline.lake.columns import day_bytes  # noqa: PLC0415

        done = day_bytes(pl.read_parquet(content))
    else:
        done = frame_bytes(pl.read_parquet(content))
    storage.write(name, lambda file: file.write(done))
