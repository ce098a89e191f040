"""The findings store: what is read from it and written to it.

The file takes one writer or several readers at a time, so it is opened late, closed soon, and
nothing is computed while it is open. Each write is one transaction: after a power cut the store
holds the whole of a run or none of it. After each write that concerns readers a copy is published
beside it (``pipeline.store.published``); that is what reports and SQL clients read.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

import duckdb
import polars as pl

from pipeline.base import (
    DataError,
    Readers,
    copy_rights,
    full_disk,
    only_writer,
    private_folder,
)
from pipeline.store.database import bring_back, migrate, opened, refuse_newer
from pipeline.store.matching import Row
from pipeline.store.published import published_path, write_copy
from pipeline.store.rows import (
    frame_of,
    insert,
    keep_findings,
    keep_run,
    keep_sensors,
    listed,
    settle,
)
from pipeline.store.schema import MIGRATIONS
from pipeline.words import said

_STOPPED: Final = "UPDATE runs SET state = 'failed' WHERE mill = ? AND state = 'running'"


@dataclass(frozen=True, slots=True)
class RunResult:
    """All that a run leaves, so that it can appear at once.

    Attributes
    ----------
    run : mapping
        Row of ``runs``.
    mill : mapping
        Row of ``mills``.
    findings : sequence of dict
        What the run found; see `pipeline.matching.merge_findings`.
    sensors : polars.DataFrame or None
        Rows of ``sensor_health``.
    cells : int or None
        Hypotheses of the window.
    """

    run: Mapping[str, Any]
    mill: Mapping[str, Any]
    findings: Sequence[Row]
    sensors: pl.DataFrame | None = None
    cells: int | None = None


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
    live : bool
        Read the file itself; False reads the published copy, where there is one.
    readers : {"owner", "group", "everyone"}
        Who may read the published copy.
    """

    path: Path
    mill: str
    patience_s: float = 30.0
    live: bool = True
    readers: Readers = "owner"

    @property
    def published(self) -> Path:
        """The published copy."""
        return published_path(self.path)

    def as_published(self) -> Store:
        """Give the same store, read from its published copy: no run holds that, or is held."""
        return replace(self, live=False)

    def findings(self, *, withdrawn: bool = False) -> pl.DataFrame:
        """Findings, first rank first; withdrawn ones last, and only when asked for."""
        where = "" if withdrawn else "AND status <> 'withdrawn'"
        order = "ORDER BY rank NULLS LAST, started, finding_id"
        return self._read(f"SELECT * FROM findings WHERE mill = $mill {where} {order}")

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

    def record_pull(
        self, sources: Sequence[Mapping[str, Any]], days: Sequence[date], *, publish: bool = True
    ) -> None:
        """Keep what was pulled and which days now wait to be worked out.

        A file pulled again adds nothing, and then its first record stays. Without `publish` readers
        see it with the next that is published: what a run pulled, with what it found.
        """
        rows = [{**source, "mill": self.mill} for source in sources]
        for row in rows:
            for name in ("refused_by_reason", "bad_by_reason", "unknown_tags"):
                row[name] = json.dumps(row[name], sort_keys=True)
        news = [row for row in rows if row["rows_kept"] > 0]
        again = [row for row in rows if row["rows_kept"] == 0]
        with self._writing(publish=publish) as connection:
            insert(connection, "REPLACE", "sources", news)
            insert(connection, "IGNORE", "sources", again)
            insert(connection, "IGNORE", "pending_days", _days(self.mill, days))

    def clear_pending(self, days: Sequence[date]) -> None:
        """Take days that were worked out off the waiting list."""
        with self._writing(publish=False) as connection:
            for day in days:
                connection.execute(
                    "DELETE FROM pending_days WHERE mill = ? AND day = ?", [self.mill, day]
                )

    def record_run(self, run: Mapping[str, Any]) -> None:
        """Keep the state of a run; a repeated run replaces its row, a finished one stays so."""
        with self._writing(publish=run["state"] != "running") as connection:
            keep_run(connection, self.mill, run)

    def settle_stopped(self) -> None:
        """Call runs failed that say they run; only for whoever holds the mill's run lock."""
        if self.path.exists() or self.published.exists():
            with self._writing() as connection:
                connection.execute(_STOPPED, [self.mill])

    def publish_run(self, result: RunResult) -> None:
        """Store all that a run leaves in one transaction, then publish it; nobody sees half."""
        run = result.run
        with self._writing() as connection:
            row = {**result.mill, "mill": self.mill}
            insert(connection, "REPLACE", "mills", [row])
            keep_run(connection, self.mill, run)
            if result.sensors is not None:
                keep_sensors(connection, result.sensors)
            window = (run["window_start"], run["window_end"])
            named = (run["as_of"], run["run_id"])
            keep_findings(
                connection,
                self.mill,
                result.findings,
                window=window,
                named=named,
                cells=result.cells,
            )

    def record_stages(self, rows: Sequence[Mapping[str, Any]], *, over: bool = False) -> None:
        """Keep how long the stages of a run took; a stage told again replaces its row.

        Parameters
        ----------
        over : bool
            The attempt has ended: a run that still says it runs could not say that it failed.
        """
        with self._writing() as connection:
            if over:
                connection.execute(_STOPPED, [self.mill])
            rows = [{**row, "mill": self.mill} for row in rows]
            insert(connection, "REPLACE", "stages", rows)

    def stages(self) -> pl.DataFrame:
        """Stages of every run, latest run last."""
        return self._read("SELECT * FROM stages WHERE mill = $mill ORDER BY attempt, number")

    def verdicts(self) -> pl.DataFrame:
        """Every verdict ever given, in order; `pipeline.store.learning` says which count."""
        return self._read("SELECT * FROM verdicts WHERE mill = $mill ORDER BY verdict_id")

    def record_verdict(self, verdict: Mapping[str, Any]) -> None:
        """Add a verdict, and apply at once what it teaches."""
        with self._writing() as connection:
            query = "SELECT coalesce(max(verdict_id), 0) + 1 FROM verdicts"
            ((number,),) = connection.execute(query).fetchall()
            row = {**verdict, "verdict_id": number, "mill": self.mill}
            insert(connection, "IGNORE", "verdicts", [row])
            settle(connection, self.mill)

    def sensors(self, first: date, last: date) -> pl.DataFrame:
        """Health of every tag on the UTC days `first` to `last`, both included."""
        frame = self._read("SELECT * FROM sensor_health WHERE mill = $mill ORDER BY day, tag")
        return frame.filter(pl.col("day").is_between(first, last))

    def source_mark(self, source: str) -> datetime | None:
        """Moment up to which a direct source was read, or None."""
        query = "SELECT read_until FROM source_marks WHERE mill = $mill AND source = $source"
        with self._writing(publish=False) as connection:
            row = connection.execute(query, {"mill": self.mill, "source": source}).fetchone()
        return row[0].astimezone(UTC) if row else None

    def set_source_mark(self, source: str, read_until: datetime) -> None:
        """Note the moment up to which a direct source was read."""
        row = {"mill": self.mill, "source": source, "read_until": read_until}
        with self._writing(publish=False) as connection:
            insert(connection, "REPLACE", "source_marks", [row])

    @contextmanager
    def held(self) -> Iterator[None]:
        """Let all that is read of the published copy meanwhile share one opening of it.

        Nobody waits for it: whatever is published meanwhile takes its place.
        """
        if not self.published.exists():
            yield
            return
        with opened(self.published, read_only=True, patience_s=self.patience_s):
            yield

    def _read(self, query: str) -> pl.DataFrame:
        first, other = (self.path, self.published)[:: 1 if self.live else -1]
        path = first if first.exists() or not other.exists() else other
        if not path.exists():
            raise _nothing_yet(path)
        with opened(path, read_only=True, patience_s=self.patience_s) as connection:
            version = refuse_newer(connection, path)
            if version == 0:
                raise _nothing_yet(path)
            if version == len(MIGRATIONS):
                return listed(connection, query, self.mill)
        with self._writing() as connection:  # an older file: bring it up to date, then read
            return frame_of(connection, query, self.mill)

    @contextmanager
    def _there(self) -> Iterator[None]:
        """See that the file is there; only for whoever holds the writer's lock."""
        if not self.path.exists() and self.published.exists():
            bring_back(self.path, self.published)
        yield

    @contextmanager
    def _writing(self, *, publish: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open for one transaction, with the tables brought up to date first."""
        private_folder(self.path.parent, self.readers)
        with (
            only_writer(self.path, self.patience_s),
            self._there(),
            opened(self.path, read_only=False, patience_s=self.patience_s) as connection,
        ):
            migrate(connection, self.path)
            connection.begin()
            try:
                yield connection
                connection.commit()
            except BaseException as error:
                with suppress(duckdb.Error):  # a commit that failed has nothing to roll back
                    connection.rollback()
                if (full := full_disk(error, self.path)) is not None:
                    raise full from error
                raise
            if publish:
                write_copy(connection, self.published, copy_rights(self.readers))


def _nothing_yet(path: Path) -> DataError:
    return DataError(
        said("There are no findings yet."),
        str(path),
        said("Pull exports with lostpol pull, then run lostpol backfill."),
    )


def _days(mill: str, days: Sequence[date]) -> list[Row]:
    return [{"mill": mill, "day": day} for day in sorted(set(days))]
