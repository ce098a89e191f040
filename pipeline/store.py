"""The findings store: the only module that opens the database.

The file takes one writer or several readers at a time, so it is opened late, closed soon, and
nothing is computed while it is open. Each write is one transaction: after a power cut the store
holds the whole of a run or none of it.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final, Literal

import duckdb
import polars as pl

from pipeline.errors import DataError, StoreBusyError
from pipeline.matching import Row, merge_findings
from pipeline.schema import (
    FINDING_COLUMNS,
    MIGRATIONS,
    RUN_COLUMNS,
    SOURCE_COLUMNS,
    VERDICT_COLUMNS,
)
from pipeline.season import RANK, season_cells, settled

_HOLDER: Final = re.compile(r"held in (?P<program>.+?) \(PID (?P<pid>\d+)\)")
_PAUSE_S: Final = 0.1


@dataclass(frozen=True, slots=True)
class Store:
    """Findings, runs and sources of one mill.

    Parameters
    ----------
    path : Path
        Database file; made at the first write.
    mill : str
        The mill's key.
    patience_s : float
        How long to wait for another program to let go of the file [s].
    """

    path: Path
    mill: str
    patience_s: float = 30.0

    def findings(self, *, withdrawn: bool = False) -> pl.DataFrame:
        """Findings, first rank first; withdrawn ones last, and only when asked for."""
        where = "" if withdrawn else "AND status <> 'withdrawn'"
        query = (
            f"SELECT * FROM findings WHERE mill = $mill {where} "
            "ORDER BY rank NULLS LAST, started, finding_id"
        )
        return self._read(query)

    def runs(self) -> pl.DataFrame:
        """Runs, latest window last."""
        return self._read("SELECT * FROM runs WHERE mill = $mill ORDER BY window_end, run_id")

    def sources(self) -> pl.DataFrame:
        """Export files pulled, by first reading."""
        return self._read("SELECT * FROM sources WHERE mill = $mill ORDER BY first_ts, name")

    def pending_days(self) -> tuple[date, ...]:
        """UTC days whose readings changed since they were last worked out."""
        if not self.path.exists():
            return ()
        frame = self._read("SELECT day FROM pending_days WHERE mill = $mill ORDER BY day")
        return tuple(frame["day"].to_list())

    def record_pull(self, sources: Sequence[Mapping[str, Any]], days: Sequence[date]) -> None:
        """Keep what was pulled and which days now wait to be worked out.

        A file pulled again adds nothing, and then its first record stays.
        """
        rows = [{**source, "mill": self.mill} for source in sources]
        for row in rows:
            for name in ("refused_by_reason", "bad_by_reason", "unknown_tags"):
                row[name] = json.dumps(row[name], sort_keys=True)
        news = [row for row in rows if row["rows_kept"] > 0]
        again = [row for row in rows if row["rows_kept"] == 0]
        with self._writing() as connection:
            _insert(connection, "REPLACE", "sources", SOURCE_COLUMNS, news)
            _insert(connection, "IGNORE", "sources", SOURCE_COLUMNS, again)
            _insert(connection, "IGNORE", "pending_days", ("mill", "day"), _days(self.mill, days))

    def clear_pending(self, days: Sequence[date]) -> None:
        """Take days that were worked out off the waiting list."""
        with self._writing() as connection:
            for day in days:
                connection.execute(
                    "DELETE FROM pending_days WHERE mill = ? AND day = ?", [self.mill, day]
                )

    def record_run(self, run: Mapping[str, Any]) -> None:
        """Keep the state of a run; a repeated run replaces its row."""
        row = {**run, "mill": self.mill}
        row["versions"] = json.dumps(row["versions"], sort_keys=True)
        with self._writing() as connection:
            _insert(connection, "REPLACE", "runs", RUN_COLUMNS, [row])

    def publish_findings(
        self,
        found: Sequence[Row],
        *,
        window: tuple[datetime, datetime],
        as_of: datetime,
        run_id: str,
        cells: int | None = None,
    ) -> pl.DataFrame:
        """Store what a run found; see `pipeline.matching.merge_findings` for what is kept.

        False discoveries are judged over the whole season where `cells`, the hypotheses of the
        window, is given; what people's verdicts teach is applied, and all findings of the mill are
        ranked anew by value times confidence, in the same transaction.

        Returns
        -------
        polars.DataFrame
            Findings after the run, withdrawn ones left out.
        """
        rows = [{**row, "mill": self.mill} for row in found]
        with self._writing() as connection:
            known = _frame(connection, "SELECT * FROM findings WHERE mill = $mill", self.mill)
            merged = merge_findings(known.to_dicts(), rows, window, as_of, run_id)
            _insert(connection, "REPLACE", "findings", FINDING_COLUMNS, merged)
            if cells is not None:
                query = "SELECT coalesce(min(window_start), ?) FROM runs WHERE mill = ?"
                ((first,),) = connection.execute(query, [window[0], self.mill]).fetchall()
                cells = season_cells(cells, window, first)
            _settle(connection, self.mill, cells)
        return self.findings()

    def verdicts(self) -> pl.DataFrame:
        """Every verdict ever given, in order; see `pipeline.learning` for which ones count."""
        return self._read("SELECT * FROM verdicts WHERE mill = $mill ORDER BY verdict_id")

    def record_verdict(self, verdict: Mapping[str, Any]) -> None:
        """Add a verdict, and apply at once what it teaches."""
        with self._writing() as connection:
            query = "SELECT coalesce(max(verdict_id), 0) + 1 FROM verdicts"
            ((number,),) = connection.execute(query).fetchall()
            row = {**verdict, "verdict_id": number, "mill": self.mill}
            _insert(connection, "IGNORE", "verdicts", VERDICT_COLUMNS, [row])
            _settle(connection, self.mill)

    def publish_sensors(self, rows: pl.DataFrame) -> None:
        """Keep the health of tags by day; a day judged again replaces its rows."""
        with self._writing() as connection:
            connection.register("judged", rows)
            connection.execute("INSERT OR REPLACE INTO sensor_health BY NAME SELECT * FROM judged")
            connection.unregister("judged")

    def sensors(self, first: date, last: date) -> pl.DataFrame:
        """Health of every tag on the UTC days `first` to `last`, both included."""
        frame = self._read("SELECT * FROM sensor_health WHERE mill = $mill ORDER BY day, tag")
        return frame.filter(pl.col("day").is_between(first, last))

    def describe_mill(self, name: str, zone: str, currency: str, price_per_t: float) -> None:
        """Keep what the views need to know of the mill."""
        row: Row = {"mill": self.mill, "name": name, "zone": zone}
        row |= {"currency": currency, "price_per_t": price_per_t}
        with self._writing() as connection:
            _insert(connection, "REPLACE", "mills", tuple(row), [row])

    def source_mark(self, source: str) -> datetime | None:
        """Moment up to which a direct source was read, or None."""
        query = "SELECT read_until FROM source_marks WHERE mill = $mill AND source = $source"
        with self._writing() as connection:
            row = connection.execute(query, {"mill": self.mill, "source": source}).fetchone()
        return row[0].astimezone(UTC) if row else None

    def set_source_mark(self, source: str, read_until: datetime) -> None:
        """Note the moment up to which a direct source was read."""
        row = {"mill": self.mill, "source": source, "read_until": read_until}
        with self._writing() as connection:
            _insert(connection, "REPLACE", "source_marks", tuple(row), [row])

    def _read(self, query: str) -> pl.DataFrame:
        if not self.path.exists():
            raise _nothing_yet(self.path)
        with _opened(self.path, read_only=True, patience_s=self.patience_s) as connection:
            version = _refuse_newer(connection, self.path)
            if version == 0:
                raise _nothing_yet(self.path)
            if version == len(MIGRATIONS):
                return _frame(connection, query, self.mill)
        with self._writing() as connection:  # an older file: bring it up to date, then read
            return _frame(connection, query, self.mill)

    @contextmanager
    def _writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open for one transaction, with the tables brought up to date first."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with _opened(self.path, read_only=False, patience_s=self.patience_s) as connection:
            _migrate(connection, self.path)
            connection.begin()
            try:
                yield connection
            except BaseException:
                connection.rollback()
                raise
            connection.commit()


def _settle(connection: duckdb.DuckDBPyConnection, mill: str, cells: int | None = None) -> None:
    """Settle what concerns all findings of a mill together, and rank them."""
    given = _frame(connection, "SELECT * FROM verdicts WHERE mill = $mill", mill).to_dicts()
    if given or cells is not None:
        known = _frame(connection, "SELECT * FROM findings WHERE mill = $mill", mill).to_dicts()
        rows = settled(known, given, cells)
        _insert(connection, "REPLACE", "findings", FINDING_COLUMNS, rows)
    connection.execute(RANK, [mill])


@contextmanager
def _opened(
    path: Path, *, read_only: bool, patience_s: float
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file, waiting a while for whoever holds it; nothing is loaded from outside."""
    give_up = time.monotonic() + patience_s
    while True:
        try:
            connection = duckdb.connect(
                path,
                read_only=read_only,
                config={
                    "autoinstall_known_extensions": "false",
                    "autoload_known_extensions": "false",
                },
            )
            break
        except duckdb.Error as error:
            if not _is_held(error):
                raise DataError(
                    "The findings store cannot be opened.",
                    f"{path}: {str(error).splitlines()[0]}",
                    "Put the file back from a copy, or move it away and run lostpol backfill.",
                ) from error
            if time.monotonic() >= give_up:
                raise _busy(path, error, patience_s) from error
        time.sleep(_PAUSE_S)
    try:
        # Times without a zone would otherwise be read in the machine's own zone.
        connection.execute("SET TimeZone = 'UTC'")
        yield connection
    finally:
        connection.close()


def _nothing_yet(path: Path) -> DataError:
    return DataError(
        "There are no findings yet.",
        str(path),
        "Pull exports with lostpol pull, then run lostpol backfill.",
    )


def _is_held(error: duckdb.Error) -> bool:
    text = str(error)
    return "Conflicting lock" in text or "different configuration" in text


def _busy(path: Path, error: duckdb.Error, waited_s: float) -> StoreBusyError:
    holder = _HOLDER.search(str(error))
    who = f"{holder['program']}, process {holder['pid']}" if holder else "another part of lostpol"
    return StoreBusyError(
        f"The findings store is in use by {who}; waited {waited_s:g} s.",
        str(path),
        "Close the program that holds it, or try again when its run has ended.",
    )


def _version(connection: duckdb.DuckDBPyConnection) -> int:
    """Number of the last migration applied; 0 for an empty file."""
    query = "SELECT count(*) FROM information_schema.tables WHERE table_name = 'schema_version'"
    ((tables,),) = connection.execute(query).fetchall()
    if tables == 0:
        return 0
    ((last,),) = connection.execute("SELECT max(version) FROM schema_version").fetchall()
    return int(last or 0)


def _refuse_newer(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    version = _version(connection)
    if version > len(MIGRATIONS):
        raise DataError(
            f"The findings store has schema {version}; this lostpol knows {len(MIGRATIONS)}.",
            str(path),
            "Update lostpol to the version that wrote the store.",
        )
    return version


def _migrate(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Apply the migrations a file does not have yet."""
    version = _refuse_newer(connection, path)
    for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
        connection.begin()
        connection.execute(
            "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY)"
        )
        connection.execute(script)
        connection.execute("INSERT INTO schema_version VALUES (?)", [number])
        connection.commit()


def _frame(connection: duckdb.DuckDBPyConnection, query: str, mill: str) -> pl.DataFrame:
    frame: pl.DataFrame = connection.sql(query, params={"mill": mill}).pl()
    return frame


def _days(mill: str, days: Sequence[date]) -> list[Row]:
    return [{"mill": mill, "day": day} for day in sorted(set(days))]


def _insert(
    connection: duckdb.DuckDBPyConnection,
    known: Literal["REPLACE", "IGNORE"],
    table: str,
    columns: Sequence[str],
    rows: Sequence[Mapping[str, Any]],
) -> None:
    """Insert rows; those with a known key replace it or are left out. Names are fixed text."""
    if not rows:
        return
    marks = ", ".join("?" for _ in columns)
    statement = f"INSERT OR {known} INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    connection.executemany(statement, [[row.get(name) for name in columns] for row in rows])
