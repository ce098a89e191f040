"""Rows of one table, batch by batch, to readings: the one way both ways of reading end in."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import polars as pl

from pipeline.exports.evidence import Evidence
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.passes import Passes
from pipeline.exports.sections import Sections
from pipeline.exports.values import to_readings
from pipeline.files import EXTRA
from pipeline.lake import Tally
from pipeline.layouts import Plan


class TableReader:
    """Turns batches of one table into readings, in their order.

    Parameters
    ----------
    plan : Plan
        How the table is read from its top.
    clock : MillClock
        Zone, clock-change rules and tags of the mill.
    tally : Tally
        Counts, added to.
    evidence : Evidence
        What the table shows as a whole; added to.
    """

    def __init__(self, plan: Plan, clock: MillClock, tally: Tally, evidence: Evidence) -> None:
        self._clock, self._tally, self._evidence = clock, tally, evidence
        zone = "UTC" if plan.zone is not None else plan.time_zone or clock.zone
        self._passes = Passes(plan, zone, evidence)
        self._sections = Sections(plan, clock.unit_changes, evidence, clock.zone)

    @property
    def plan(self) -> Plan:
        """How the next rows are read."""
        return self._sections.plan

    @property
    def holds(self) -> bool:
        """Some rows wait for those after them."""
        return self._passes.holds

    def read(self, raw: pl.DataFrame | None) -> Iterator[pl.DataFrame]:
        """Readings of a batch; with None, of rows that waited for another.

        Yields
        ------
        polars.DataFrame
            ts_utc, tag, value [inside unit], bad, reason; unsorted, repeats kept.
        """
        rows = self._passes.settled(raw)
        if rows is None:
            return
        for part, plan in self._sections.parts(rows):
            yield to_readings(part, plan, self._clock, self._tally, self._evidence)


class PairsReader:
    """Reads each pair as a table of its own; the rows of all of them count."""

    def __init__(self, plan: Plan, tally: Tally, reader: Callable[[Plan], TableReader]) -> None:
        self.plan, self._tally = plan, tally
        self._parts = [
            (pair, reader(replace(plan, shape="wide", time=pair[0], tags=(pair[1],), pairs=())))
            for pair in plan.pairs
        ]

    @property
    def holds(self) -> bool:
        """Some rows wait for those after them."""
        return any(reader.holds for _, reader in self._parts)

    def read(self, raw: pl.DataFrame | None) -> Iterator[pl.DataFrame]:
        """Readings of a batch, pair by pair; with None, of rows that waited for another."""
        for number, (pair, reader) in enumerate(self._parts, start=1):
            yield from reader.read(None if raw is None else _own_rows(raw, pair))
            if raw is not None and number < len(self._parts):
                self._tally.pass_over(-raw.height)


def _own_rows(raw: pl.DataFrame, pair: Sequence[str]) -> pl.DataFrame:
    """Rows of a pair up to the last that holds something of it."""
    # Rows that end early are those of the shorter pairs: what is missing is empty.
    marks = [EXTRA] if EXTRA in raw.columns else []
    rows = raw.select(*pair, *marks)
    last = rows.select(pl.any_horizontal(pl.col(pair).is_not_null()).arg_true().max()).item()
    return rows.head(0 if last is None else last + 1)


def reader_for(
    plan: Plan, clock: MillClock, tally: Tally, evidence: Evidence
) -> TableReader | PairsReader:
    """Reader of one table, of whatever shape."""
    for line in plan.why:
        evidence.note(line)
    if plan.shape != "pairs":
        return TableReader(plan, clock, tally, evidence)
    return PairsReader(plan, tally, lambda part: TableReader(part, clock, tally, evidence))
