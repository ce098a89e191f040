"""Cases: ways of writing moments, order of day and month, clock changes, jumps."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
from corpus_tools import CHICAGO, PH, case, expect, frame, long_text, number, stamp, truth


def times():
    """Ways of writing moments, order of day and month, clock changes, jumps."""
    rows = truth()
    good = expect(rows)
    for name, pattern, zone in (
        ("iso_t", "%Y-%m-%dT%H:%M:%S", CHICAGO),
        ("iso_minutes", "%Y-%m-%d %H:%M", CHICAGO),
        ("iso_offset", "%Y-%m-%dT%H:%M:%S%z", CHICAGO),
        ("iso_z", "%Y-%m-%dT%H:%M:%SZ", UTC),
        ("utc_word", "%Y-%m-%d %H:%M:%S UTC", UTC),
        ("slashed_year_first", "%Y/%m/%d %H:%M", CHICAGO),
        ("day_first_slashed", "%d/%m/%Y %H:%M", CHICAGO),
        ("day_first_dashed", "%d-%m-%Y %H:%M", CHICAGO),
        ("day_first_dotted", "%d.%m.%Y %H:%M:%S", CHICAGO),
        ("month_first_am_pm", "%m/%d/%Y %I:%M:%S %p", CHICAGO),
        ("month_named", "%d-%b-%Y %H:%M:%S", CHICAGO),
        ("month_named_two_digits", "%d-%b-%y %H:%M", CHICAGO),
        ("month_named_first", "%b %d, %Y %H:%M", CHICAGO),
        ("compact", "%Y%m%d%H%M%S", CHICAGO),
        ("compact_t", "%Y%m%dT%H%M%S", CHICAGO),
    ):
        text = long_text(rows, ";", time=lambda t, p=pattern, z=zone: stamp(t, p, z))
        case(f"time_{name}.csv", text, good)
    # A day of 2025 or one of 2014: a single day cannot tell.
    text = long_text(rows, ";", time=lambda t: stamp(t, "%d/%m/%y %H:%M"))
    case("time_two_digit_year.csv", text, {"error": "day/month/year or as year/month/day"})
    for word, per_s in (("s", 1), ("ms", 1000), ("us", 1_000_000)):
        text = long_text(rows, time=lambda t, k=per_s: str(int(t.timestamp() * k)))
        case(f"time_epoch_{word}.csv", text, good | {"plan": {"time_format": f"epoch_{word}"}})

    def serial(moment, digits):
        local = moment.astimezone(CHICAGO).replace(tzinfo=None)
        days = (local - datetime(1899, 12, 30)) / timedelta(days=1)  # noqa: DTZ001 (local)
        return f"{days:.{digits}f}"

    case("time_serial.csv", long_text(rows, time=lambda t: serial(t, 10)), good)
    case("time_serial_short.csv", long_text(rows, time=lambda t: serial(t, 6)), good)
    comma = long_text(rows, ";", time=lambda t: serial(t, 8).replace(".", ","))
    case("time_serial_comma.csv", comma, good)
    fraction = [(t + timedelta(milliseconds=250), tag, v) for t, tag, v in rows]
    text = long_text(fraction, ";", time=lambda t: stamp(t) + ",250", value=number)
    case("time_fraction_comma.csv", text, expect(fraction))
    apart = long_text(rows, time=lambda t: stamp(t, "%d.%m.%Y,%H:%M:%S"),
                      head=("Date", "Time", "tag", "value"))  # fmt: skip
    case("date_and_time_apart.csv", apart, good)


def changes():
    """Day and month exchanged, hours twice or never, clocks set, order lost, Parquet."""
    rows = truth()
    good = expect(rows)
    early = truth(start=datetime(2025, 10, 5, 15, tzinfo=UTC))
    both = long_text(early, time=lambda t: stamp(t, "%d/%m/%Y %H:%M"))
    case("day_or_month_unknown.csv", both, {"error": "day/month or as month/day"})
    described = {"time_format": "%d/%m/%Y %H:%M"}
    case("day_or_month_described.csv", both, expect(early, layout=described))
    days = truth(60, timedelta(hours=2), datetime(2025, 10, 3, 5, tzinfo=UTC))
    for word, pattern in (("day", "%d/%m/%Y %H:%M"), ("month", "%m/%d/%Y %H:%M")):
        text = long_text(days, time=lambda t, p=pattern: stamp(t, p))
        case(f"{word}_first_runs_on.csv", text, expect(days))
    late = early + truth(start=datetime(2025, 10, 20, 15, tzinfo=UTC))
    text = long_text(late, time=lambda t: stamp(t, "%d/%m/%Y %H:%M"))
    case("day_first_told_late.csv", text, expect(late))

    fall = [datetime(2025, 11, 2, h, 30, tzinfo=UTC) for h in (5, 8)]
    text = "time,tag,value\n" + "".join(
        f"{t},LT.AI212,7.{k}\n"
        for k, t in enumerate(("2025-11-02 00:30", "2025-11-02 01:30", "2025-11-02 02:30"))
    )
    for policy, hour in (("first", 6), ("second", 7)):
        read = [(fall[0], PH, 7.0), (datetime(2025, 11, 2, hour, 30, tzinfo=UTC), PH, 7.1),
                (fall[1], PH, 7.2)]  # fmt: skip
        case(f"hour_repeated_{policy}.csv", text, expect(read, mill={"ambiguous": policy}))
    read = [(fall[0], PH, 7.0), (fall[1], PH, 7.2)]
    refused = expect(read, {"local_time_repeated": 1}, mill={"ambiguous": "refuse"})
    case("hour_repeated_refuse.csv", text, refused)
    text = "time,tag,value\n2026-03-08 01:30,LT.AI212,7.0\n2026-03-08 02:30,LT.AI212,7.1\n"
    spring = [datetime(2026, 3, 8, h, 30, tzinfo=UTC) for h in (7, 8)]
    read = [(spring[0], PH, 7.0), (spring[1], PH, 7.1)]
    case("hour_missing_shift.csv", text, expect(read, mill={"missing": "shift_forward"}))
    refused = expect(read[:1], {"local_time_skipped": 1}, mill={"missing": "refuse"})
    case("hour_missing_refuse.csv", text, refused)
    zones = truth(start=datetime(2025, 11, 2, 5, tzinfo=UTC), step=timedelta(minutes=30))
    text = long_text(zones, time=lambda t: stamp(t, "%Y-%m-%dT%H:%M:%S%z"))
    case("hour_repeated_with_offsets.csv", text, expect(zones))
    described = {"time_zone": "Asia/Kolkata"}
    text = long_text(rows, time=lambda t: stamp(t, zone=ZoneInfo("Asia/Kolkata")))
    case("zone_described.csv", text, good | {"layout": described})

    run = truth(80, timedelta(minutes=1))
    jumped = [(t - timedelta(minutes=15) if k >= 120 else t, tag, v)
              for k, (t, tag, v) in enumerate(run)]  # fmt: skip
    case("clock_set_back.csv", long_text(jumped), expect(jumped, notes=["the clock goes back"]))
    shuffled = [run[(k * 37) % len(run)] for k in range(len(run))]
    case("out_of_order.csv", long_text(shuffled), expect(shuffled, silent=["clock goes back"]))
    case("newest_first.csv", long_text(run[::-1]), expect(run[::-1], silent=["clock goes back"]))
    case("duplicates.csv", long_text(rows + rows[:3]), expect(rows + rows[:3]))
    broken = long_text(rows + rows + rows).replace("14:50:00,MJ", "25:50:00,MJ", 1)
    kept = [*rows[1:], *rows, *rows]
    case("time_unreadable.csv", broken, expect(kept, {"time_unreadable": 1}))
    plain = frame(rows)
    for word, column in (
        ("utc", pl.col("time")),
        ("nanoseconds", pl.col("time").dt.cast_time_unit("ns")),
        (
            "local",
            pl.col("time").dt.convert_time_zone("America/Chicago").dt.replace_time_zone(None),
        ),
        ("epoch", pl.col("time").dt.timestamp("ms")),
        ("text", pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%SZ")),
    ):
        buffer = io.BytesIO()
        plain.with_columns(column.alias("time"), pl.col("tag").cast(pl.Categorical)).write_parquet(
            buffer
        )
        case(f"parquet_{word}.parquet", buffer.getvalue(), good)
    buffer = io.BytesIO()
    plain.pivot("tag", index="time", values="value").write_parquet(buffer)
    case("parquet_wide.parquet", buffer.getvalue(), good)
