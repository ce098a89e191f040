"""One fixed night at an invented mill: Friday 10 October 2025, told on Saturday at 04:58."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from models.account import Band, Plausibility, with_bounds
from pipeline.report.view import NightView, ReportView, RunHealth

DAY = date(2025, 10, 10)
#: Friday begins at 05:00 UTC in Chicago (tz database: CDT is UTC-5).
FRIDAY = datetime(2025, 10, 10, 5, tzinfo=UTC)
AS_OF = FRIDAY + timedelta(hours=28, minutes=58)


def season() -> pl.DataFrame:
    """Forty days: 0.2 to 0.6 t above the unavoidable, 1.4 t on Friday, 0.3 t on Saturday so far."""
    days = [DAY - timedelta(days=n) for n in range(38, -2, -1)]
    excess = [0.2 + 0.1 * ((n * 7) % 5) for n in range(38)] + [1.4, 0.3]
    fed = [780.0] * 39 + [160.0]
    bare = pl.DataFrame(
        {
            "day_local": days,
            "sucrose_fed_t": fed,
            "unavoidable_t": [1.9] * 39 + [0.4],
            "excess_t": excess,
            "minutes": [1440] * 38 + [1413, 298],
            "measured": [1440] * 38 + [1400, 298],
        }
    )
    return with_bounds(bare.with_columns(level_log_sd=0.2, ph_sd=0.045, ph_memory_h=8.0))


def lactic() -> pl.DataFrame:
    """Lactic acid at two points every six hours; the limed-juice tank makes some on the 9th."""
    times = [FRIDAY + timedelta(hours=6 * n, minutes=15) for n in range(-9, 5)]
    rows = [
        (
            t,
            "lactic",
            place,
            "out",
            level + (140.0 if place == "liming_tank" and late else 0.0),
            12.0,
        )
        for n, t in enumerate(times)
        for late in (6 <= n <= 9,)
        for place, level in (("mixed_juice", 210.0), ("liming_tank", 240.0))
    ]
    names = ["ts_utc", "analyte", "place", "port", "value", "sd"]
    return pl.DataFrame(rows, schema=names, orient="row").with_columns(
        pl.col("ts_utc").cast(pl.Datetime("us", "UTC"))
    )


def plausible() -> Plausibility:
    """An ordinary day, its pol and Brix sampled every three hours."""
    return Plausibility(
        *(0.24, 0.15, 0.38),
        ph_limed=7.52,
        ph_clear=6.96,
        destroyed_pct_h=1.13,
        ph_settler=7.08,
        temp_settler_degc=97.2,
        band=Band(0.41, 3.2, 8, 7, 0.3, 0.2),
    )


def findings(make_finding) -> list[dict]:
    before = {"first_seen": FRIDAY + timedelta(hours=5), "run_id": "r-1"}
    started, ended = (FRIDAY + timedelta(hours=h) for h in (2, 14))
    rows = [
        make_finding(1, "low_limed_ph", "liming_tank", (0, 1), lost=(1.2, 0.7, 2.0)),
        make_finding(2, "tank_held", "clear_juice_tank", (0, 1), lost=(0.62, 0.4, 0.9)),
        make_finding(3, "microbial", "liming_tank", (0, 1), lost=(0.4, 0.2, 0.9), confidence=0.55),
        make_finding(4, "overheating", "first_evaporator", (0, 1), lost=(0.21, 0.1, 0.4)),
        make_finding(5, "mud_held", "settler:mud", (0, 1), lost=(0.3, 0.1, 0.6)),
    ]
    moments = [
        (started, ended, "ended"),
        (FRIDAY - timedelta(hours=30), AS_OF, "open"),
        (FRIDAY - timedelta(hours=6), FRIDAY + timedelta(hours=6), "ended"),
        (AS_OF - timedelta(hours=3), AS_OF, "open"),
        (FRIDAY + timedelta(hours=9), FRIDAY + timedelta(hours=12), "withdrawn"),
    ]
    for row, (first, last, status) in zip(rows, moments, strict=True):
        row.update(before, started=first, ended=last, status=status)
        if status == "withdrawn":
            row["run_id"] = "r-2"
    rows[0] |= {"first_seen": AS_OF, "finding_id": "a1b2c3d4e5", "run_id": "r-2"}
    return rows


@pytest.fixture(scope="session")
def make_night(view):
    """Build the night, with other parts of the report or other findings where given."""

    def make(found: pl.DataFrame, **other: object) -> NightView:
        inside = pl.col("ts_utc") < AS_OF
        report = ReportView(
            mill="Brindlewater",
            zone="America/Chicago",
            currency="USD",
            price_per_t=520.0,
            period_start=FRIDAY,
            period_end=AS_OF,
            findings=found,
            station_minutes=view.station_minutes.filter(inside).with_columns(
                flow_feed_m3_h=pl.lit(265.0)
            ),
            zone_minutes=view.zone_minutes.filter(inside),
            season=season(),
            lab=pl.concat([view.lab, lactic()]).filter(inside),
            station=view.station,
            multiplier=view.multiplier,
            notices=view.notices.clear(),
            sources=view.sources,
            refused=view.refused,
            tags=view.tags,
            sensors=pl.DataFrame(
                {
                    "tag": ["LT.AI212", "ST.TI304"],
                    "quantity": ["ph", "temperature"],
                    "place": ["liming_tank", "settler"],
                    "verdict": ["sick", "watch"],
                    "days": [1, 1],
                    "text": ["reads 0.31 high against the laboratory", "silent for 68 min"],
                }
            ),
            verdicts=view.findings.select("finding_id")
            .clear()
            .with_columns(
                verdict=pl.lit(""), note=pl.lit(""), author=pl.lit(""), given_at=pl.lit(AS_OF)
            ),
            missing_tags=view.missing_tags,
            not_computed=view.not_computed,
        )
        run = RunHealth(
            run_id="r-2",
            took_s=14.2,
            finished=AS_OF + timedelta(minutes=4),
            data_end=AS_OF,
            window=(FRIDAY - timedelta(days=39), AS_OF),
            previous_end=AS_OF - timedelta(days=1),
            version="0.1.0",
            config_hash="84e9c435b5946945",
        )
        return NightView(replace(report, **other), DAY, 1440, found, run, plausible())

    return make


@pytest.fixture
def night_rows(make_finding) -> list[dict]:
    return findings(make_finding)


@pytest.fixture(scope="session")
def night(make_night, make_findings, make_finding) -> NightView:
    return make_night(make_findings(*findings(make_finding)))
