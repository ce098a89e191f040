"""A synthetic view: six days at an invented mill, with two bad spells drawn into the minutes."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base.station import LabSource, Signal, Station, Targets, Vessel
from models.account import with_bounds
from pipeline.report.view import Gap, Multiplier, ReportView

START = datetime(2025, 10, 6, 5, 0, tzinfo=UTC)
DAYS = 6
HOSTILE_TAGS = (
    "<script>alert('tag')</script>",
    '"><img src=x onerror=alert(1)>',
    '=HYPERLINK("x","y")&<b>bold</b>',
    "nul\x00bell\x07tag",
    "\u202egnp.exe tag",
    "درجة حرارة العصير",
    "T" * 5000,
    "lone \ud800 surrogate",
    "{{ 7*7 }} {% raw %}",
)
ZONES = {
    "liming_tank": (72.0, 13.0, 0.4),
    "settler": (97.5, 76.0, 11.0),
    "settler:mud": (96.0, 150.0, 3.0),
    "clear_juice_tank": (95.0, 17.0, 2.0),
    "first_evaporator": (113.0, 6.0, 4.0),
}


def station() -> Station:
    return Station(
        vessels=(
            Vessel("liming_tank", "liming_tank", 1, 90, 72),
            Vessel("settler", "settler", 2, 340, 97.5, mud_volume_m3=140),
            Vessel("clear_juice_tank", "clear_juice_tank", 3, 200, 95),
            Vessel("first_evaporator", "evaporator_vessel", 4, 28, 113),
        ),
        signals=(
            Signal("LT.AI212", "ph", "liming_tank", "out", "pH", 3, 11),
            Signal("ST.TI304", "temperature", "settler", "inside", "degC", 10, 130),
        ),
        lab=(LabSource("LAB LJ ph", "ph", "liming_tank", "out", "pH", 3, 11, sd=0.06),),
        targets=Targets(265, 7.5, 6.95),
    )


def minutes(start: datetime = START, days: int = DAYS) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Station and zone minutes: low limed pH on day 2, a stop on day 4, a gap on day 5."""
    n = days * 1440
    rng = np.random.default_rng(7)
    noise = np.convolve(rng.normal(0, 0.2, n + 59), np.ones(60) / 8, mode="valid") / 8
    index = np.arange(n)
    low = (index >= 1600) & (index < 2090)
    stop = (index >= 4700) & (index < 5000)
    limed = 7.5 + 4 * noise - 0.55 * low + rng.normal(0, 0.02, n)
    clear = 6.95 + 3 * noise - 0.4 * np.roll(low, 70) - 0.3 * np.roll(stop, 30)
    gap = (index >= 6300) & (index < 6420)
    ts = [start + timedelta(minutes=int(i)) for i in index]
    hide = pl.Series(gap)
    station_frame = pl.DataFrame(
        {
            "ts_utc": ts,
            "ph_limed": np.where(index == 1700, 0.0, limed),
            "ph_clear": clear,
            "ph_limed_corrected": limed - 0.08,
            "ph_clear_corrected": clear - 0.05,
        }
    ).with_columns(
        pl.when(hide).then(None).otherwise(pl.col(name)).alias(name)
        for name in ("ph_limed", "ph_clear", "ph_limed_corrected", "ph_clear_corrected")
    )
    zones = []
    for zone, (temp, residence, rate) in ZONES.items():
        flow = np.where(stop, 0.1, 1.0)
        frame = pl.DataFrame(
            {
                "ts_utc": ts,
                "zone": [zone] * n,
                "temp_degc": temp + 3 * noise - 4 * stop,
                "residence_min": residence * (1 + noise)
                + 260 * np.convolve(stop, np.ones(60) / 60, "same"),
                "loss_kg_h": rate * 10 ** (-(clear - 6.95)) * (1 + 0.3 * noise),
                "loss_ref_kg_h": rate * flow,
            }
        ).with_columns(
            pl.when(hide).then(None).otherwise(pl.col(name)).alias(name)
            for name in ("temp_degc", "residence_min", "loss_kg_h", "loss_ref_kg_h")
        )
        zones.append(frame)
    utc = pl.col("ts_utc").cast(pl.Datetime("us", "UTC"))
    return station_frame.with_columns(utc), pl.concat(zones).with_columns(utc)


def evidence(text: str = "Limed pH averaged 6.95, target 7.50") -> str:
    return json.dumps(
        {
            "facts": [
                {"text": text, "value": -0.55, "unit": "pH"},
                {"text": "Lime flow per juice flow fell by", "value": 31.27, "unit": "%"},
                {
                    "text": "Laboratory limed pH agrees with the probe within",
                    "value": 0.04,
                    "unit": "pH",
                },
                {"text": "A fourth fact", "value": 1, "unit": ""},
                {"text": "A fifth fact", "value": 2, "unit": ""},
            ],
            "shares": {"ph": 0.82, "temperature": -0.06, "throughput": 0.12, "drop": 0.12},
            "alternatives": [{"cause": "ph_probe_high", "weight": 0.2}],
            "lab": [
                "LJ pH 6.98 at 09:10",
                {"text": "CJ reducing sugars", "value": 0.612, "unit": "%"},
            ],
            "ordinary_balance": "The shift balance showed 0.3 % undetermined loss.",
        }
    )


def finding(
    rank: int, cause: str, section: str, hours: tuple[float, float | None], **other
) -> dict:
    lost = other.pop("lost", (2.345, 1.2, 3.9))
    row = {
        "finding_id": f"f{rank}",
        "mill": "Brindlewater",
        "section": section,
        "started": START + timedelta(hours=hours[0]),
        "ended": None if hours[1] is None else START + timedelta(hours=hours[1]),
        "cause": cause,
        "lost_t": lost[0],
        "lost_t_low": lost[1],
        "lost_t_high": lost[2],
        "lost_pct": 0.412,
        "value": None if lost[0] is None else lost[0] * 520,
        "currency": "USD",
        "confidence": 0.78,
        "rank": rank,
        "status": "ended",
        "evidence": evidence(),
        "first_seen": START,
        "last_seen": START,
        "run_id": "r-0001",
    }
    return row | other


def findings_frame(rows: list[dict]) -> pl.DataFrame:
    numbers = ("lost_t", "lost_t_low", "lost_t_high", "lost_pct", "value", "confidence")
    schema = dict.fromkeys(finding(1, "", "", (0, 1)), pl.String())
    schema |= dict.fromkeys(numbers, pl.Float64()) | {"rank": pl.Int64()}
    times = ("started", "ended", "first_seen", "last_seen")
    schema |= dict.fromkeys(times, pl.Datetime("us", "UTC"))
    return pl.DataFrame(rows, schema=schema)


def default_findings() -> list[dict]:
    return [
        finding(1, "low_limed_ph", "settler", (26.6, 34.8)),
        finding(
            2, "standing_juice", "settler", (78.3, 83.4), lost=(1.21, 0.5, 2.2), confidence=0.93
        ),
        finding(3, "microbial", "train", (100, 130), lost=(0.81, 0.1, 1.9), confidence=0.55),
        finding(4, "mud_held", "settler:mud", (50, 60), lost=(0.4, 0.1, 0.9), confidence=0.41),
        finding(5, "overheating", "first_evaporator", (12, 20), lost=(0.31, 0.08, 0.7)),
        finding(
            6, "tank_held", "clear_juice_tank", (120, None), lost=(0.22, 0.05, 0.5), status="open"
        ),
        finding(7, "slow_throughput", "train", (60, 66), lost=(0.08, -0.02, 0.2), confidence=0.2),
        finding(8, "ph_probe_high", "settler", (3, 8), lost=(0.9, 0.2, 1.8), status="withdrawn"),
    ]


def season_frame() -> pl.DataFrame:
    rng = np.random.default_rng(3)
    n = 56
    excess = rng.gamma(1.2, 0.25, n) - 0.12
    bare = pl.DataFrame(
        {
            "day_local": [date(2025, 8, 18) + timedelta(days=i) for i in range(n)],
            "sucrose_fed_t": 760 + rng.normal(0, 20, n),
            "unavoidable_t": 0.72 + rng.normal(0, 0.03, n),
            "excess_t": excess,
            "minutes": [1440] * n,
            "measured": [1440] * n,
        }
    )
    return with_bounds(bare.with_columns(level_log_sd=0.2, ph_sd=0.045, ph_memory_h=8.0))


def lab_frame() -> pl.DataFrame:
    times = [START + timedelta(hours=3 * i, minutes=10) for i in range(DAYS * 8)]
    rows = [
        (t, "ph", place, "out", value + 0.05 * np.sin(i), 0.06)
        for i, t in enumerate(times)
        for place, value in (("liming_tank", 7.45), ("settler", 6.9))
    ]
    names = ["ts_utc", "analyte", "place", "port", "value", "sd"]
    return pl.DataFrame(rows, schema=names, orient="row").with_columns(
        pl.col("ts_utc").cast(pl.Datetime("us", "UTC"))
    )


def build_view() -> ReportView:
    station_minutes, zone_minutes = minutes()
    return ReportView(
        mill="Brindlewater",
        zone="America/Chicago",
        currency="USD",
        price_per_t=520.0,
        period_start=START,
        period_end=START + timedelta(days=DAYS),
        findings=findings_frame(default_findings()),
        station_minutes=station_minutes,
        zone_minutes=zone_minutes,
        season=season_frame(),
        lab=lab_frame(),
        station=station(),
        multiplier=Multiplier(2.31, 1.62, 3.4, "From 41 laboratory balances since 18 Aug"),
        notices=pl.DataFrame(
            {
                "started": [START + timedelta(hours=30), START + timedelta(hours=70)],
                "ended": [START + timedelta(hours=33), None],
                "kind": ["stale_cane", "stuck_tag"],
                "text": [
                    "Mixed-juice purity fell to 80.1 with more lactic acid.",
                    f"{HOSTILE_TAGS[0]} has not moved while the flow did.",
                ],
            },
            schema_overrides=dict.fromkeys(("started", "ended"), pl.Datetime("us", "UTC")),
        ),
        sources=pl.DataFrame(
            {
                "source": ["historian", "lab"],
                "rows_read": [4_812_003, 1_240],
                "rows_kept": [4_811_200, 1_231],
            }
        ),
        refused=pl.DataFrame(
            {
                "source": ["historian", "historian", "lab"],
                "reason": ["time not readable", "unknown tag", "no number"],
                "rows": [700, 103, 9],
            }
        ),
        tags=pl.DataFrame(
            {
                "tag": ["LT.AI212", "MJ.FI101", "EV.AI503"],
                "readings": [51_840, 51_840, 0],
                "bad": [312, 0, 0],
                "reasons": [
                    "300 outside 3 to 11, 12 flagged by the source",
                    "",
                    "no reading at all",
                ],
            }
        ),
        missing_tags=("ST.AI310",),
        not_computed=(Gap("Flocculant dose", "no juice density was given"),),
        run={
            "Run": "r-20251012-0500",
            "lostpol": "0.1.0",
            "Data window": "2025-08-18 to 2025-10-12",
        },
    )


@pytest.fixture(scope="session")
def view() -> ReportView:
    return build_view()


@pytest.fixture(scope="session")
def hostile_view(view: ReportView) -> ReportView:
    """The same view with hostile text wherever text comes from outside."""
    bad = HOSTILE_TAGS
    rows = default_findings()
    rows[0] |= {"section": bad[0], "cause": bad[1], "evidence": evidence(bad[0] + bad[3])}
    rows[1] |= {"evidence": '{"facts": [{"text": 3}, 7, null], "shares": {"<i>": "x"}, "lab": 4}'}
    rows[2] |= {"evidence": "{broken", "status": bad[1]}
    rows[3] |= {"evidence": None, "section": "<b>:mud"}
    return replace(
        view,
        mill=bad[1],
        currency="<u>",
        findings=findings_frame(rows),
        tags=pl.DataFrame(
            {
                "tag": [t for t in bad if "\ud800" not in t],
                "readings": [10] * (len(bad) - 1),
                "bad": [3] * (len(bad) - 1),
                "reasons": [bad[0]] * (len(bad) - 1),
            }
        ),
        missing_tags=bad,
        not_computed=(Gap(bad[0], bad[4]),),
        run={bad[0]: bad[1]},
    )


@pytest.fixture(scope="session")
def make_findings():
    """Build a findings frame from (rank, cause, section, (start h, end h), overrides)."""

    def make(*rows: dict) -> pl.DataFrame:
        return findings_frame(list(rows))

    return make


@pytest.fixture(scope="session")
def make_finding():
    return finding


@pytest.fixture(scope="session")
def make_minutes():
    return minutes


@pytest.fixture
def drawn():
    """Asked for by tests that need the charts."""
