"""What the report is made from: one frozen view, filled elsewhere from store and lake.

Only mill, zone, money, period and findings are needed. Every other part may be absent; the
report then says in plain words what is missing and what that hides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING

import polars as pl

from pipeline.tongue import ENGLISH, Tongue

if TYPE_CHECKING:  # a list of findings is a view too, and needs none of what makes these
    from features.base import Station
    from features.flow import EffectiveResidence, OwnSettling
    from models.account import Plausibility
    from pipeline.charts import Known
    from pipeline.report.levers import SeasonLevers

#: Columns the report reads from each frame. Further columns are ignored.
REQUIRED_COLUMNS: dict[str, tuple[str, ...]] = {
    "findings": (
        *("finding_id", "section", "started", "ended", "cause", "lost_t", "lost_t_low"),
        *("lost_t_high", "lost_pct", "value", "confidence", "rank", "status", "evidence"),
    ),
    "station_minutes": ("ts_utc", "ph_limed", "ph_clear"),
    "zone_minutes": (
        *("ts_utc", "zone", "temp_degc", "residence_min", "loss_kg_h", "loss_ref_kg_h"),
    ),
    "season": (
        *("day_local", "sucrose_fed_t", "unavoidable_t"),
        *("excess_t", "excess_low_t", "excess_high_t"),
    ),
    "lab": ("ts_utc", "analyte", "place", "value"),
    "notices": ("started", "ended", "kind", "text"),
    "sources": ("source", "rows_read", "rows_kept"),
    "refused": ("source", "reason", "rows"),
    "tags": ("tag", "readings", "bad"),
    "sensors": ("tag", "verdict", "days", "text"),
    "beyond": ("zone", "formula", "input", "minutes", "of_minutes", "beyond_kg", "all_kg"),
    "verdicts": ("finding_id", "verdict", "note", "author", "given_at"),
    "balance": (
        *("day", "sucrose_fed_t", "kinetic_t", "chemical_t"),
        *("chemical_sd_t", "unexplained_t", "pairs"),
    ),
}


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 90 % interval; the unit is that of the field it sits in."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Multiplier:
    """Kinetic multiplier of the mill [1] with 90 % interval and, in plain words, its source.

    ``beware`` says that it rests on the description, how far off all tonnes may be, and the cure;
    empty where the laboratory tells it.
    """

    value: float
    low: float
    high: float
    source: str
    beware: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """Something that could not be computed, and why; ``first`` is said before all else."""

    what: str
    why: str
    first: str = ""


@dataclass(frozen=True, slots=True)
class ReportView:
    """Everything one report shows.

    Attributes
    ----------
    mill, zone, currency : str
        Mill name, IANA time-zone name, ISO 4217 currency code.
    price_per_t : float
        Worth of sucrose [currency/t].
    period_start, period_end : datetime
        Reported period, UTC, end exclusive.
    findings : polars.DataFrame
        Rows of the findings table; times in UTC, masses in t, confidence from 0 to 1.
    station_minutes, zone_minutes, lab : polars.DataFrame or None
        Minute and laboratory frames around the findings; rates [kg/h] at multiplier 1.
        ``ph_limed_corrected`` and ``ph_clear_corrected`` in ``station_minutes`` are drawn where
        present, and its ``loss_kg_h`` and ``unavoidable_kg_h`` [kg/h] (multiplier and corrected
        pH applied) are drawn rather than the sum over the vessels.
    season : polars.DataFrame or None
        One row a plant-local day: sucrose fed, unavoidable and excess loss [t].
    station : Station or None
        Station description: kinds of vessels, and targets drawn as thin lines.
    multiplier : Multiplier or None
        Kinetic multiplier applied to the minute rates.
    notices : polars.DataFrame or None
        Odd events without loss: started, ended, kind, text.
    sources, refused, tags : polars.DataFrame or None
        Per source: source, rows_read, rows_kept; per source and reason: source, reason, rows; per
        tag: tag, readings, bad and, where known, reasons.
    sensors : polars.DataFrame or None
        Tags that were not well: tag, quantity, place, verdict, days, text; worst first.
    verdicts : polars.DataFrame or None
        What people said of findings: finding_id, verdict, note, author, given_at; the last of a
        finding counts.
    balance : polars.DataFrame or None
        A row a plant-local day: loss between limed and clear juice by kinetics and by chemistry,
        and what stays unexplained [t], as ``models.cause.lab_check.DAILY_COLUMNS`` has it.
    beyond : polars.DataFrame or None
        Minutes outside the ranges of the formulas, as ``features.kinetics.BEYOND_COLUMNS`` has it.
    levers : SeasonLevers or None
        What each realistic change would have saved; weekly review and season's report alone.
    missing_tags, not_computed : tuple of str, of Gap
        Tags described for the mill that no export held; what could not be computed and why.
    run : Mapping of str to str
        Run id, versions, data window: shown as given.
    dossiers : Mapping of str to str
        Address of each dossier that is written, seen from the report, by finding id.
    known : tuple of Known
        What was noted beforehand, of any hours of the season.
    tongue : Tongue
        What the report is said in.
    """

    mill: str
    zone: str
    currency: str
    price_per_t: float
    period_start: datetime
    period_end: datetime
    findings: pl.DataFrame
    station_minutes: pl.DataFrame | None = None
    zone_minutes: pl.DataFrame | None = None
    season: pl.DataFrame | None = None
    lab: pl.DataFrame | None = None
    station: Station | None = None
    multiplier: Multiplier | None = None
    notices: pl.DataFrame | None = None
    sources: pl.DataFrame | None = None
    refused: pl.DataFrame | None = None
    tags: pl.DataFrame | None = None
    sensors: pl.DataFrame | None = None
    verdicts: pl.DataFrame | None = None
    balance: pl.DataFrame | None = None
    levers: SeasonLevers | None = None
    beyond: pl.DataFrame | None = None
    missing_tags: tuple[str, ...] = ()
    not_computed: tuple[Gap, ...] = ()
    run: Mapping[str, str] = field(default_factory=dict)
    dossiers: Mapping[str, str] = field(default_factory=dict)
    known: tuple[Known, ...] = ()
    tongue: Tongue = ENGLISH

    def lacking(self) -> list[str]:
        """Name every column that a frame should have and lacks, as ``frame.column``."""
        lacks: list[str] = []
        for name, columns in REQUIRED_COLUMNS.items():
            frame = getattr(self, name)
            if frame is not None:
                lacks += [f"{name}.{column}" for column in columns if column not in frame.columns]
        return lacks


def vessel_kinds(view: ReportView) -> dict[str, str]:
    """Kind of each vessel by name; empty when the view holds no station."""
    return {} if view.station is None else {v.name: v.kind for v in view.station.vessels}


@dataclass(frozen=True, slots=True)
class RunHealth:
    """How the run went that a report rests on.

    Attributes
    ----------
    run_id : str
    took_s : float or None
        Time from its start to its end [s].
    finished : datetime or None
        When it ended by the clock, UTC.
    data_end : datetime
        End of data it knew, UTC.
    window : tuple of datetime
        What it judged, UTC, end exclusive.
    previous_end : datetime or None
        End of data of the run before; None for the first one.
    version : str
        Of lostpol.
    config_hash : str
        Of the mill's description.
    stages : str
        How long its stages took and what they dealt with, in words; empty when not known.
    """

    run_id: str
    took_s: float | None
    finished: datetime | None
    data_end: datetime
    window: tuple[datetime, datetime]
    previous_end: datetime | None
    version: str
    config_hash: str
    stages: str = ""


@dataclass(frozen=True, slots=True)
class NightView:
    """What the nightly report shows.

    Attributes
    ----------
    report : ReportView
        Period: from the start of `day` to the end of data. ``season`` holds its sums by day, with
        ``minutes`` and ``measured`` where known; ``findings`` are those of the period.
    day : date
        The plant-local day that is reported, usually yesterday.
    day_minutes : int
        Minutes that day has; 23 or 25 hours when the clocks change.
    known : polars.DataFrame
        All findings of the season.
    run : RunHealth
    plausible : Plausibility or None
        Figures of the day to set beside common practice.
    lever : str
        That another change would have saved most, where that is news; empty otherwise.
    """

    report: ReportView
    day: date
    day_minutes: int
    known: pl.DataFrame
    run: RunHealth
    plausible: Plausibility | None = None
    lever: str = ""


@dataclass(frozen=True, slots=True)
class WeekView:
    """What the weekly review shows.

    Attributes
    ----------
    report : ReportView
        Period: the week. ``season`` holds the sums of every day, ``balance`` the laboratory's
        days of the season, ``findings`` are those that touch the week.
    first, last : date
        Plant-local days of the week, both included.
    shifts : polars.DataFrame or None
        Sums by ``day`` and ``order`` as `pipeline.report.shifts.shift_sums` makes them.
    shift_names : tuple of str
        By their order.
    shift_minutes : tuple of int
        Length of each on an ordinary day [min].
    known : polars.DataFrame
        All findings of the season.
    settling : polars.DataFrame or None
        As `pipeline.report.settling.settling_days` makes it.
    minutes : polars.DataFrame or None
        ts_utc and excess_kg_h around findings that were called fixed.
    run : RunHealth
    sharpness : polars.DataFrame or None
        Of the search that the week's end lies in, as ``models.detect.SHARPNESS_COLUMNS`` has it.
    plausible : Plausibility or None
        Figures of the week to set beside common practice.
    own : OwnSettling or None
        What turbidity tells of the settlers.
    crossing : EffectiveResidence or None
        How much of the settlers juice passed through.
    level, methods : polars.DataFrame or None
        The kinetic level week by week and what the laboratory's methods are off by, as
        ``models.level`` tells them.
    """

    report: ReportView
    first: date
    last: date
    shifts: pl.DataFrame | None
    shift_names: tuple[str, ...]
    shift_minutes: tuple[int, ...]
    known: pl.DataFrame
    settling: pl.DataFrame | None
    minutes: pl.DataFrame | None
    run: RunHealth
    sharpness: pl.DataFrame | None = None
    plausible: Plausibility | None = None
    own: OwnSettling | None = None
    crossing: EffectiveResidence | None = None
    level: pl.DataFrame | None = None
    methods: pl.DataFrame | None = None
