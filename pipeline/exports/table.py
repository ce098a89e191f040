"""Rows of one table, batch by batch, to readings: the one way both ways of reading end in."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from pipeline.exports.evidence import Evidence
from pipeline.exports.layout import Plan
from pipeline.exports.pairs import PairsReader
from pipeline.exports.passes import Passes
from pipeline.exports.refused import Tally
from pipeline.exports.sections import Sections
from pipeline.exports.values import MillClock, to_readings


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
        zone = "UTC" if plan.zone else plan.time_zone or clock.zone
        self._passes = Passes(plan, zone, evidence)
        self._sections = Sections(plan, clock.unit_changes, evidence)

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


def reader_for(
    plan: Plan, clock: MillClock, tally: Tally, evidence: Evidence
) -> TableReader | PairsReader:
    """Reader of one table, of whatever shape."""
    for line in plan.why:
        evidence.note(line)
    if plan.shape != "pairs":
        return TableReader(plan, clock, tally, evidence)
    return PairsReader(plan, tally, lambda part: TableReader(part, clock, tally, evidence))
