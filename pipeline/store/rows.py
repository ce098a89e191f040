"""Writing and reading rows of the findings store, on a connection inside its transaction."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Literal

import duckdb
import polars as pl

from pipeline.store.matching import Row, merge_findings
from pipeline.store.season import RANK, season_cells, settled


def frame_of(connection: duckdb.DuckDBPyConnection, query: str, mill: str) -> pl.DataFrame:
    """What a query gives for one mill, ``$mill`` in its text."""
    frame: pl.DataFrame = connection.sql(query, params={"mill": mill}).pl()
    return frame


def listed(connection: duckdb.DuckDBPyConnection, query: str, mill: str) -> pl.DataFrame:
    """Give the same on a connection that only reads.

    By Arrow's C interface: the relation's own way loads pyarrow, which a list can do without.
    """
    return pl.DataFrame(connection.sql(query, params={"mill": mill}))


def insert(
    connection: duckdb.DuckDBPyConnection,
    known: Literal["REPLACE", "IGNORE"],
    table: str,
    rows: Sequence[Mapping[str, Any]],
) -> None:
    """Insert rows; those with a known key replace it or are left out.

    Parameters
    ----------
    known : {"REPLACE", "IGNORE"}
        What becomes of a row whose key is there already.
    table : str
        Fixed text of lostpol's own: it becomes part of the statement.
    rows : sequence of mapping
        What lacks a column of the table has null there; what no column is named for stays out.
    """
    if not rows:
        return
    columns = connection.table(table).columns
    cells = [[row.get(name) for name in columns] for row in rows]
    # One by one, rows would take milliseconds each; a season's findings are written every night.
    arriving = pl.DataFrame(
        cells, schema=columns, orient="row", infer_schema_length=None, strict=False
    )
    connection.register("arriving", arriving)
    names = ", ".join(columns)
    connection.execute(f"INSERT OR {known} INTO {table} ({names}) SELECT {names} FROM arriving")
    connection.unregister("arriving")


def keep_run(connection: duckdb.DuckDBPyConnection, mill: str, run: Mapping[str, Any]) -> None:
    """Keep a run; one that was finished once is not called running or failed afterwards."""
    row = {**run, "mill": mill, "versions": json.dumps(run["versions"], sort_keys=True)}
    if run["state"] == "finished":
        insert(connection, "REPLACE", "runs", [row])
        return
    query = "DELETE FROM runs WHERE run_id = ? AND state <> 'finished'"
    connection.execute(query, [run["run_id"]])
    insert(connection, "IGNORE", "runs", [row])


def keep_sensors(connection: duckdb.DuckDBPyConnection, rows: pl.DataFrame) -> None:
    """Keep the health of tags by day; columns as in the table."""
    connection.register("judged", rows)
    # Most of a season is known already, and comparing costs far less than writing it anew.
    names = ", ".join(connection.table("sensor_health").columns)
    news = f"SELECT {names} FROM judged EXCEPT SELECT {names} FROM sensor_health"
    connection.execute(f"INSERT OR REPLACE INTO sensor_health BY NAME {news}")
    connection.unregister("judged")


def keep_findings(
    connection: duckdb.DuckDBPyConnection,
    mill: str,
    found: Sequence[Row],
    *,
    window: tuple[datetime, datetime],
    named: tuple[datetime, str],
    cells: int | None,
) -> None:
    """Merge what a run found with what is known, and settle the season.

    Parameters
    ----------
    window : tuple of datetime
        Start (included) and end (excluded) of what the run judged.
    named : tuple of datetime and str
        End of data and name of the run.
    cells : int, optional
        Hypotheses of the window; without them q-values stay as they are.
    """
    rows = [{**row, "mill": mill} for row in found]
    known = frame_of(connection, "SELECT * FROM findings WHERE mill = $mill", mill)
    merged = merge_findings(known.to_dicts(), rows, window, *named)
    insert(connection, "REPLACE", "findings", merged)
    if cells is not None:
        query = "SELECT coalesce(min(window_start), ?) FROM runs WHERE mill = ?"
        ((first,),) = connection.execute(query, [window[0], mill]).fetchall()
        cells = season_cells(cells, window, first)
    settle(connection, mill, cells)


def settle(connection: duckdb.DuckDBPyConnection, mill: str, cells: int | None = None) -> None:
    """Settle what concerns all findings of a mill together, and rank them.

    False discoveries are judged anew where `cells`, the hypotheses of the season, is given.
    """
    given = frame_of(connection, "SELECT * FROM verdicts WHERE mill = $mill", mill).to_dicts()
    if given or cells is not None:
        known = frame_of(connection, "SELECT * FROM findings WHERE mill = $mill", mill).to_dicts()
        rows = settled(known, given, cells)
        insert(connection, "REPLACE", "findings", rows)
    connection.execute(RANK, [mill])
