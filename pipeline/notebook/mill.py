"""A mill as a notebook reads it: frames in plant time, from the lake and the published findings.

Nothing is written and no lock is taken, so a notebook reads while a night runs: each day of the
lake is replaced whole or not at all, and the findings are those of the last run that ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

import polars as pl

from features.base import lab_results, polars_schema
from pipeline.base import ConfigError, Window, now
from pipeline.lake import DRIVEN, LOSSES, STATION, ZONES, Lake, lake_of
from pipeline.mill import Mill, load_mill
from pipeline.notebook.tables import OF_KIND, TABLES, TIME, described
from pipeline.notebook.told import Told
from pipeline.period import answer, as_data, beside_of, period_of
from pipeline.replay import replay, replay_as_data
from pipeline.store import published_store_of
from pipeline.words import ANALYTES, QUANTITIES, point_words, said

#: A moment: as people say it in plant time, a day, or a datetime (plant time where it has no zone).
Moment = str | date | datetime
_LAB_BEFORE: Final = timedelta(days=1)


def open_mill(config: str | Path) -> NotebookMill:
    """Open a mill for reading.

    Parameters
    ----------
    config : str or Path
        The mill's description, a TOML file.

    Returns
    -------
    NotebookMill

    Raises
    ------
    ConfigError
        The description cannot be read.
    """
    return NotebookMill(load_mill(Path(config)))


@dataclass(frozen=True, slots=True)
class NotebookMill:
    """What a notebook may ask of a mill; every frame is in plant time.

    ``m.columns("minutes")`` says unit and meaning of each column of ``m.minutes(...)``. Two moments
    bound a period, the second excluded, as for ``lostpol period``: ``"2026-11-24T02:00"``,
    ``"yesterday"``, a `date` or a `datetime`; a day alone is its start, and as the second its end.

    Attributes
    ----------
    mill : Mill
        Its description.
    """

    mill: Mill

    def minutes(self, first: Moment, last: Moment) -> pl.DataFrame:
        """One row a minute of the station as a whole, with its loss as the search found it.

        Raises
        ------
        ConfigError
            A moment cannot be read, or the period is none.
        """
        window = self._window(first, last)
        station, losses = (self._features(kind, window) for kind in (STATION, LOSSES))
        return self._told("minutes", station.join(losses, on="ts_utc", how="left"), ["ts_utc"])

    def vessels(self, first: Moment, last: Moment) -> pl.DataFrame:
        """One row a minute and vessel: what the juice goes through there, what it lost, and why."""
        window = self._window(first, last)
        zones, driven = (self._features(kind, window) for kind in (ZONES, DRIVEN))
        joined = zones.join(driven, on=["ts_utc", "zone"], how="left", maintain_order="left")
        return self._told("vessels", joined, [])

    def readings(self, tags: str | Sequence[str], first: Moment, last: Moment) -> pl.DataFrame:
        """Readings of some tags as they were exported, in inside units, bad ones marked.

        Raises
        ------
        ConfigError
            A tag is not in the description, or a moment cannot be read.
        """
        wanted = [tags] if isinstance(tags, str) else list(tags)
        known = self.tags()
        if missing := sorted(set(wanted) - set(known["tag"])):
            raise ConfigError(
                said("No such tag is described."),
                ", ".join(missing),
                said("m.tags() lists the tags and laboratory series of this mill."),
            )
        window = self._window(first, last)
        frame = self._lake.read_readings(*window.days, wanted).filter(_inside(window))
        words = known.select("tag", "unit", "what")
        return self._told("readings", frame.join(words, on="tag", how="left"), ["tag", "ts_utc"])

    def laboratory(self, first: Moment, last: Moment) -> pl.DataFrame:
        """Sound results of the laboratory, each with its standard error; sugars on juice."""
        window = self._window(first, last)
        series = [source.tag for source in self.mill.station.lab]
        # Sugars told on solids need the Brix of the hours around.
        wide = Window(window.start - _LAB_BEFORE, window.end + _LAB_BEFORE)
        found = lab_results(self._lake.read_readings(*wide.days, series), self.mill.station)
        words = [
            {
                "unit": ANALYTES[analyte][1],
                "what": point_words(analyte, place, port),
            }
            for analyte, place, port in found.select("analyte", "place", "port").iter_rows()
        ]
        named = pl.DataFrame(words, schema={"unit": pl.String, "what": pl.String})
        joined = pl.concat([found, named], how="horizontal").filter(_inside(window))
        return self._told("laboratory", joined, ["ts_utc", "place", "analyte"])

    def findings(self) -> pl.DataFrame:
        """Findings of the last run that ended, best first."""
        store = published_store_of(self.mill)
        frame = store.findings()
        moments = [name for name, kind in frame.schema.items() if kind == pl.Datetime("us", "UTC")]
        return frame.with_columns(
            pl.col(name).dt.convert_time_zone(self.mill.zone) for name in moments
        )

    def period(self, first: Moment, last: Moment, beside: str = "usual") -> Told:
        """All that ``lostpol period`` tells of a period.

        Parameters
        ----------
        first, last : str, date or datetime
        beside : str
            ``usual``, or another period as ``FROM..TO``.
        """
        other = beside_of(beside, self.mill.tz, now())
        return Told(as_data(answer(self.mill, self._window(first, last), other)), self.mill.tz)

    def replay(self, first: Moment, last: Moment, *changes: str) -> Told:
        """All that ``lostpol replay`` tells of a period with something changed.

        Parameters
        ----------
        first, last : str, date or datetime
        *changes : str
            Each ``KEY=VALUE``, such as ``"ph_limed=+0.2"`` or ``"settler.temp_degc=-2"``.

        Raises
        ------
        ConfigError
            It cannot be read, or lies outside what the mill has run or the formulas cover.
        """
        return Told(
            replay_as_data(replay(self.mill, self._window(first, last), changes)), self.mill.tz
        )

    def tags(self) -> pl.DataFrame:
        """Tags and laboratory series of the description: what each measures, and its unit."""
        rows = [
            {
                "tag": s.tag, "what": point_words(s.quantity, s.place, s.port),
                "unit": QUANTITIES[s.quantity][1], "quantity": str(s.quantity), "place": s.place,
                "port": str(s.port), "low": s.low, "high": s.high, "column": s.name,
            }
            for s in self.mill.station.signals
        ] + [
            {
                "tag": s.tag, "what": point_words(s.analyte, s.place, s.port),
                "unit": ANALYTES[s.analyte][1], "quantity": str(s.analyte), "place": s.place,
                "port": str(s.port), "low": s.low, "high": s.high, "column": "",
            }
            for s in self.mill.station.lab
        ]  # fmt: skip
        columns = TABLES["tags"]
        return pl.DataFrame(rows, schema={name: c.dtype for name, c in columns.items()})

    @staticmethod
    def columns(table: str = "") -> pl.DataFrame:
        """Unit and meaning of every column of a frame, or of all frames.

        Parameters
        ----------
        table : str
            Method that gives the frame: minutes, vessels, readings, laboratory, tags, findings.
        """
        every = described()
        return every.filter(pl.col("table") == table).drop("table") if table else every

    @property
    def _lake(self) -> Lake:
        return lake_of(self.mill)

    def _window(self, first: Moment, last: Moment) -> Window:
        zone, moment = self.mill.tz, now()
        return period_of(self._said(first), self._said(last), zone, moment, "period")

    def _said(self, moment: Moment) -> str:
        """A moment as people say it."""
        if isinstance(moment, datetime):
            aware = moment if moment.tzinfo else moment.replace(tzinfo=self.mill.tz)
            return aware.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")
        return moment.isoformat() if isinstance(moment, date) else moment

    def _features(self, kind: str, window: Window) -> pl.DataFrame:
        frame = self._lake.read_features(kind, *window.days)
        if frame.is_empty():
            return pl.DataFrame(schema=polars_schema(OF_KIND[kind]))
        return frame.filter(_inside(window))

    def _told(self, table: str, frame: pl.DataFrame, order: list[str]) -> pl.DataFrame:
        """Frame in plant time, its columns in the order in which they are described."""
        moments = pl.col("ts_utc").dt.convert_time_zone(self.mill.zone).alias(TIME)
        ordered = frame.sort(order, maintain_order=True) if order else frame
        return ordered.with_columns(moments).select(list(TABLES[table]))


def _inside(window: Window) -> pl.Expr:
    return pl.col("ts_utc").is_between(window.start, window.end, closed="left")
