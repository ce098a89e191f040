"""One fixed week at an invented mill: Monday 6 to Sunday 12 October 2025."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from features.base.station import Vessel
from models.account import with_bounds
from pipeline.report.shifts import shift_lengths
from pipeline.report.view import ReportView, RunHealth, WeekView

FIRST, LAST = date(2025, 10, 6), date(2025, 10, 12)
#: Monday begins at 05:00 UTC in Chicago (tz database: CDT is UTC-5).
MONDAY = datetime(2025, 10, 6, 5, tzinfo=UTC)
END = MONDAY + timedelta(days=7)
STARTS = ("06:00", "14:00", "22:00")


#: What a usual laboratory leaves unknown.
SURE = {"level_log_sd": 0.2, "ph_sd": 0.045, "ph_memory_h": 8.0}


def season() -> pl.DataFrame:
    """Four weeks at 0.3 t a day above the unavoidable; 0.5 t a day in the week told."""
    days = [LAST - timedelta(days=n) for n in range(27, -1, -1)]
    excess = [0.3] * 21 + [0.5] * 7
    bare = pl.DataFrame(
        {
            "day_local": days,
            "sucrose_fed_t": [800.0] * 28,
            "unavoidable_t": [1.9] * 28,
            "excess_t": excess,
            "minutes": [1440] * 27 + [720],
            "measured": [1440] * 27 + [700],
        }
    )
    return with_bounds(bare.with_columns(**SURE))


SICK = {"tag": "LT.AI212", "quantity": "ph", "place": "liming_tank", "verdict": "sick", "days": 3}


def balance() -> pl.DataFrame:
    days = [LAST - timedelta(days=n) for n in range(27, -1, -1)]
    return pl.DataFrame(
        {
            "day": days,
            "sucrose_fed_t": [800.0] * 28,
            "kinetic_t": [1.0] * 28,
            # Even days say 1.1, odd ones 0.9; on one day the laboratory says 3.5.
            "chemical_t": [3.5 if n == 20 else 1.1 - 0.2 * (n % 2) for n in range(28)],
            "chemical_sd_t": [0.5] * 28,
            "unexplained_t": [0.1 - 0.2 * (n % 2) for n in range(28)],
            "detection_limit_t": [0.9] * 28,
            "pairs": [8] * 28,
        }
    )


def shifts() -> pl.DataFrame:
    rows = [(FIRST + timedelta(days=d), n, 0.1 * (n + 1)) for d in range(7) for n in range(3)]
    bare = pl.DataFrame(rows, schema=["day", "order", "excess_t"], orient="row")
    begins = (pl.col("day").cast(pl.Datetime("us", "UTC"))) + pl.duration(
        hours=11 + 8 * pl.col("order")
    )
    bare = bare.with_columns(started=begins, ended=begins + pl.duration(hours=8))
    held = {"sucrose_fed_t": 266.0, "unavoidable_t": 0.6, "minutes": 480, "measured": 480}
    return with_bounds(bare.with_columns(**held, **SURE))


def weeks_findings(make_finding) -> list[dict]:
    """Two of one kind, one of another, and one from before the week that was called fixed."""
    return [
        make_finding(1, "low_limed_ph", "settler", (24, 36), lost=(1.2, 0.6, 2.0)),
        make_finding(2, "overheating", "first_evaporator", (60, 70), lost=(0.6, 0.3, 0.9)),
        make_finding(3, "low_limed_ph", "settler", (-100, -90), lost=(0.8, 0.4, 1.4)),
        make_finding(4, "tank_held", "clear_juice_tank", (-72, -48), lost=(2.0, 1.0, 3.0)),
        make_finding(5, "microbial", "liming_tank", (-24, 24), lost=(0.4, 0.2, 0.8)),
    ]


def given() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "finding_id": ["f4", "f1"],
            "verdict": ["fixed", "confirmed"],
            "note": ["Level control put right", "Strainer blocked"],
            "author": ["Odette Marchbank", "Ivo Tannercroft"],
            "given_at": [MONDAY - timedelta(hours=47), MONDAY + timedelta(hours=50)],
        }
    )


def excess_minutes() -> pl.DataFrame:
    """Ten kg/h above the unavoidable, 90 while the tank was held full; a slow swing of 4."""
    start = MONDAY - timedelta(days=11)
    n = 18 * 1440
    held = range(8 * 1440, 9 * 1440)
    return pl.DataFrame(
        {
            "ts_utc": [start + timedelta(minutes=i) for i in range(n)],
            "excess_kg_h": [
                (90.0 if i in held else 10.0) + (4.0 if (i // 360) % 2 else -4.0) for i in range(n)
            ],
        },
        schema_overrides={"ts_utc": pl.Datetime("us", "UTC")},
    )


@pytest.fixture(scope="session")
def make_week(view, make_findings, make_finding):
    """Build the week, with other parts where given."""

    def make(found: list[dict] | None = None, **other: object) -> WeekView:
        said = {"f4": "fixed", "f1": "confirmed"}
        known = make_findings(*(found or weeks_findings(make_finding))).with_columns(
            verdict=pl.col("finding_id").replace_strict(said, default=None)
        )
        settler = Vessel("settler", "settler", 2, 340, 97.5, area_m2=95.0, mud_volume_m3=140)
        station = replace(
            view.station,
            vessels=tuple(settler if v.kind == "settler" else v for v in view.station.vessels),
        )
        report = ReportView(
            mill="Brindlewater",
            zone="America/Chicago",
            currency="USD",
            price_per_t=520.0,
            period_start=MONDAY,
            period_end=END,
            findings=known.filter((pl.col("started") < END) & (pl.col("ended") > MONDAY)),
            season=season(),
            station=station,
            multiplier=view.multiplier,
            sources=view.sources,
            refused=view.refused,
            tags=view.tags,
            sensors=pl.DataFrame([SICK | {"text": "reads 0.31 high against the laboratory"}]),
            verdicts=given(),
            balance=balance(),
            missing_tags=view.missing_tags,
            not_computed=view.not_computed,
        )
        parts = {name: other.pop(name) for name in list(other) if hasattr(report, name)}
        week = WeekView(
            report=replace(report, **parts),
            first=FIRST,
            last=LAST,
            shifts=shifts(),
            shift_names=("morning", "afternoon", "night"),
            shift_minutes=tuple(shift_lengths(STARTS)),
            known=known,
            settling=pl.DataFrame(
                {
                    "day": [FIRST, LAST],
                    "overflow_m_h": [2.5, 2.6],
                    "top_m_h": [3.0, 4.2],
                    "juice_low": [1.0, 0.9],
                    "juice_high": [1.0, 0.9],
                    "used_low": [0.5, 0.777],
                    "used_high": [0.75, 1.167],
                    "spare_low_m3_h": [95.0, -57.0],
                    "spare_high_m3_h": [285.0, 114.0],
                    "out_low": [None, None],
                    "out_high": [None, None],
                    "dose_mg_kg": [3.2, 3.4],
                },
                schema_overrides={"out_low": pl.Float64, "out_high": pl.Float64},
            ),
            minutes=excess_minutes(),
            run=RunHealth(
                "r-9", 21.0, END, END, (MONDAY, END), MONDAY, "0.1.0", "84e9c435b5946945"
            ),
        )
        return replace(week, **other)

    return make


@pytest.fixture(scope="session")
def week(make_week) -> WeekView:
    return make_week()


@pytest.fixture
def week_rows(make_finding) -> list[dict]:
    return weeks_findings(make_finding)
