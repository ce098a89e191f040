"""Simple rules that every method must beat, in the shape of findings.

Each is given more than it could know (`Hints`): the mill's own mean loss in an hour of
event, its scatter, its most frequent cause and the share of the season that events fill. Their
tonnes, intervals, causes and alarm rates are so the best a rule can do that sees no cause.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from sklearn.ensemble import IsolationForest

from features.base import Station
from models.judge.scorecard import SCORED_SCHEMA

_Z90 = 1.645
_QUARTER = timedelta(minutes=15)
_HOUR = timedelta(hours=1)
#: Fewer quarter-hours than a day teach no rule anything.
_LEAST_BLOCKS = 96

#: Column of the one alarm that most mills have.
PH_ALARM = "ph_settler_out"

#: A rule: quarter-hour means of the tags up to some moment in, findings out.
Rule = Callable[[pl.DataFrame], pl.DataFrame]


@dataclass(frozen=True, slots=True)
class Hints:
    """What the simple rules are told of the truth.

    Attributes
    ----------
    lost_t_h : float
        Planted tonnes per hour of planted loss [t/h].
    log_sd : float
        Scatter of the events' own rates about it (natural logarithm).
    cause : str
        Most frequent planted cause.
    share : float
        Share of the season that planted losses fill, 0 to 1.
    """

    lost_t_h: float
    log_sd: float
    cause: str
    share: float


@dataclass(frozen=True, slots=True)
class Limit:
    """An alarm limit on one column, and what a mill would call the alarm."""

    column: str
    limit: float
    is_low: bool
    cause: str


def hints_of(truth: pl.DataFrame, season_h: float) -> Hints:
    """What the simple rules are told of a season.

    Parameters
    ----------
    truth : polars.DataFrame
        kind, cause, start_utc, end_utc, lost_t of the planted events.
    season_h : float
        Length of the season [h], above 0.
    """
    losses = truth.filter((pl.col("kind") == "loss") & (pl.col("lost_t") > 0)).sort("start_utc")
    if losses.is_empty():
        return Hints(0.0, 1.0, "unexplained", 0.0)
    hours = (losses["end_utc"] - losses["start_utc"]).dt.total_seconds().to_numpy() / 3600.0
    tonnes = losses["lost_t"].to_numpy()
    rate = float(tonnes.sum() / hours.sum())
    log_sd = float(np.sqrt(np.mean(np.log(tonnes / hours / rate) ** 2)))
    cause = Counter(losses["cause"].to_list()).most_common(1)[0][0]
    return Hints(rate, log_sd, cause, min(float(hours.sum()) / season_h, 1.0))


def quarter_hours(grid: pl.DataFrame) -> pl.DataFrame:
    """Means of a one-minute grid over quarter-hours: ts_utc and one column a tag."""
    return (
        grid.sort("ts_utc")
        .group_by_dynamic("ts_utc", every=_QUARTER)
        .agg(pl.exclude("ts_utc").mean())
    )


def report_nothing() -> pl.DataFrame:
    """Baseline: no findings at all."""
    return pl.DataFrame(schema=SCORED_SCHEMA)


def flag_everything(start_utc: datetime, end_utc: datetime, hints: Hints) -> pl.DataFrame:
    """Baseline: one finding that covers everything, with the tonnes of events in it."""
    hours = hints.share * ((end_utc - start_utc) / _HOUR)
    return _rows([(hints.cause, start_utc, end_utc, hours)], hints)


def at_random(
    findings: pl.DataFrame, start_utc: datetime, end_utc: datetime, seed: int = 0
) -> pl.DataFrame:
    """Baseline: a method's own findings, moved to random times.

    Tonnes, intervals, causes and rank stay as they are.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 23]))
    length = (findings["ended"] - findings["started"]).to_list()
    room = [max(end_utc - start_utc - part, timedelta(0)) for part in length]
    begin = [start_utc + part * float(rng.random()) for part in room]
    moved = pl.DataFrame(
        {"started": begin, "ended": [b + part for b, part in zip(begin, length, strict=True)]},
        schema={name: SCORED_SCHEMA[name] for name in ("started", "ended")},
    )
    return findings.select(SCORED_SCHEMA.names()).with_columns(moved["started"], moved["ended"])


def usual_limits(station: Station) -> tuple[Limit, ...]:
    """Alarm limits most mills have, about the station's own targets (common practice).

    Clear juice 0.15 pH and limed juice 0.3 pH below target, feed below 70 % of target, liming
    tank 6 K below and first evaporator 5 K above target, clear-juice tank above 80 % and mud
    above 75 % of its level.
    """
    targets = station.targets
    limits = [
        Limit(PH_ALARM, targets.ph_clear - 0.15, True, "low_limed_ph"),
        Limit("ph_liming_tank_out", targets.ph_limed - 0.3, True, "low_limed_ph"),
        Limit("flow_mixed_juice_m3_h", 0.7 * targets.flow_feed_m3_h, True, "slow_throughput"),
    ]
    for vessel in station.vessels:
        name, temp = vessel.name, vessel.temp_degc
        if vessel.kind == "liming_tank":
            limits.append(Limit(f"temp_{name}_inside_degc", temp - 6.0, True, "microbial"))
        elif vessel.kind == "evaporator_vessel":
            limits.append(Limit(f"temp_{name}_inside_degc", temp + 5.0, False, "overheating"))
        elif vessel.kind == "clear_juice_tank":
            limits.append(Limit(f"level_{name}_pct", 80.0, False, "tank_held"))
        elif vessel.kind == "settler":
            limits.append(Limit(f"mud_level_{name}_mud_pct", 75.0, False, "mud_held"))
    return tuple(limits)


def fixed_limits(blocks: pl.DataFrame, limits: Sequence[Limit], hints: Hints) -> pl.DataFrame:
    """Baseline: the alarms most mills have.

    Parameters
    ----------
    blocks : polars.DataFrame
        As `quarter_hours` gives them; limits on columns that are not there are left out.
    limits : sequence of Limit
    hints : Hints

    Returns
    -------
    polars.DataFrame
        One finding a period of at least an hour beyond one limit, with that limit's cause; pauses
        of up to an hour are bridged.
    """
    items: list[tuple[str, datetime, datetime, float]] = []
    for limit in limits:
        if limit.column in blocks.columns:
            value = blocks[limit.column]
            beyond = value < limit.limit if limit.is_low else value > limit.limit
            items += _periods(blocks["ts_utc"], beyond, limit.cause)
    return _rows(items, hints)


def three_sigma_per_tag(blocks: pl.DataFrame, hints: Hints) -> pl.DataFrame:
    """Baseline: an alarm on each tag three of its own standard deviations from its mean.

    Parameters
    ----------
    blocks : polars.DataFrame
        As `quarter_hours` gives them; mean and deviation are those of all of them.
    hints : Hints

    Returns
    -------
    polars.DataFrame
        One finding a period of at least an hour in which any tag alarms; pauses of up to an hour
        are bridged.
    """
    if blocks.height < _LEAST_BLOCKS:
        return report_nothing()
    tags = [pl.col(c) for c in blocks.columns if c != "ts_utc"]
    apart = [((tag - tag.mean()) / tag.std()).abs() > 3.0 for tag in tags]
    flags = blocks.select(pl.any_horizontal([a.fill_null(value=False) for a in apart])).to_series()
    return _rows(_periods(blocks["ts_utc"], flags, hints.cause), hints)


def forest_on_raw_tags(blocks: pl.DataFrame, hints: Hints) -> pl.DataFrame:
    """Baseline: an isolation forest on the tags themselves, no physics.

    Parameters
    ----------
    blocks : polars.DataFrame
        As `quarter_hours` gives them; a missing value is carried on from the one before.
    hints : Hints
        Its `share` of the quarter-hours is flagged.

    Returns
    -------
    polars.DataFrame
        One finding a period of at least an hour; pauses of up to an hour are bridged.
    """
    if blocks.height < _LEAST_BLOCKS or hints.share <= 0:
        return report_nothing()
    values = blocks.drop("ts_utc").select(pl.all().fill_null(strategy="forward").fill_null(0.0))
    forest = IsolationForest(
        n_estimators=100, contamination=min(hints.share, 0.5), random_state=0, n_jobs=1
    )
    flags = forest.fit_predict(values.to_numpy()) < 0
    return _rows(_periods(blocks["ts_utc"], pl.Series(flags), hints.cause), hints)


def _periods(
    times: pl.Series, flags: pl.Series, cause: str
) -> list[tuple[str, datetime, datetime, float]]:
    """Periods of flags with their cause and hours, pauses of up to an hour bridged, 1 h least."""
    runs: list[list[datetime]] = []
    for begin in times.filter(flags.fill_null(value=False)).to_list():
        if runs and begin - runs[-1][1] <= _HOUR:
            runs[-1][1] = begin + _QUARTER
        else:
            runs.append([begin, begin + _QUARTER])
    return [(cause, a, b, (b - a) / _HOUR) for a, b in runs if b - a >= _HOUR]


def _rows(items: list[tuple[str, datetime, datetime, float]], hints: Hints) -> pl.DataFrame:
    """Findings of periods with their lossy hours, the most tonnes first."""
    spread = float(np.exp(_Z90 * hints.log_sd))
    ordered = sorted(items, key=lambda item: (-item[3], item[1]))
    rows = []
    for rank, (cause, begin, end, hours) in enumerate(ordered, start=1):
        lost_t = hints.lost_t_h * hours
        rows.append((cause, begin, end, lost_t, lost_t / spread, lost_t * spread, rank, 0.5))
    return pl.DataFrame(rows, schema=SCORED_SCHEMA, orient="row")
