"""What an empty findings store says of its own tables: the migrations alone describe them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

import duckdb
import polars as pl

from pipeline.store.schema import MIGRATIONS


@contextmanager
def empty_store() -> Iterator[duckdb.DuckDBPyConnection]:
    """An empty store of the newest schema, in memory."""
    with duckdb.connect() as connection:
        for script in MIGRATIONS:
            connection.execute(script)
        yield connection


@cache
def table_schema(table: str) -> pl.Schema:
    """Columns of a table and their types in a frame."""
    with empty_store() as connection:
        return connection.table(table).limit(0).pl().schema
