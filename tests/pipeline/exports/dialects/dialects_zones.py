"""Zones: in headings, titles, columns and behind each time; and lines that only seem to tell."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from dialect_truth import (
    ANY,
    CHICAGO,
    EITHER,
    PARIS,
    READ,
    SAO_PAULO,
    Dialect,
    Reading,
    record,
)  # fmt: skip
from dialect_write import ISO, long, stamp, text, wide, with_column


def in_zone(truth: list[Reading], zone: str | float, heading: str = "time", when=ISO):
    """A wide table in a named zone, or at hours from UTC."""
    where: tzinfo = ZoneInfo(zone) if isinstance(zone, str) else timezone(timedelta(hours=zone))
    rows = wide(truth, heading=heading)
    moments = dict.fromkeys(r.utc for r in truth)
    stamps = [when(m.astimezone(where)) for m in moments]
    return [rows[0], *([t, *row[1:]] for t, row in zip(stamps, rows[1:], strict=True))]


#: Zones of fixed hours by name; POSIX counts them westward.
KEYS = {"UTC": "UTC", -3: "Etc/GMT+3", -5: "Etc/GMT+5", -6: "Etc/GMT+6", 1: "Etc/GMT-1",
        5.5: "Asia/Kolkata"}  # fmt: skip


def one(name, rows, truth, allowed, *, mill=PARIS, above="", zone_key="", **more) -> Dialect:
    """A wide file; `zone_key` is the time_zone that answers."""
    answer = None
    if zone_key:
        answer = {"shape": "wide", "time_zone": zone_key, "time_column": rows[0][0]}
    return Dialect(f"zone: {name}", "zone", {"export.csv": text(rows, above=above)}, truth, allowed,
                   mill, answer=answer, **more)  # fmt: skip


def dialects() -> Iterator[Dialect]:
    yield from _headings()
    yield from _titles()
    yield from _columns()
    yield from _behind()
    yield from _nothing_said()


def _headings() -> Iterator[Dialect]:
    truth = record(zone=PARIS)
    for heading, zone, allowed in (
        ("Time (UTC)", "UTC", READ),
        ("time_utc", "UTC", READ),
        ("Time UTC", "UTC", READ),
        ("Timestamp [UTC]", "UTC", READ),
        ("Time (GMT)", "UTC", EITHER),
        ("Time (Z)", "UTC", EITHER),
        ("Time (UTC-3)", -3, EITHER),
        ("Time (UTC-03:00)", -3, EITHER),
        ("Timestamp (UTC+5:30)", 5.5, EITHER),
        ("Time (GMT-3)", -3, EITHER),
        ("Time UTC-03:00", -3, EITHER),
        ("Time [-03:00]", -3, EITHER),
        ("time_utc-3", -3, EITHER),
        ("Time (EST)", -5, EITHER),
        ("Time (America/Chicago)", CHICAGO, EITHER),
        ("Hora (BRT)", -3, EITHER),
        ("Zeit (MEZ)", 1, EITHER),
        ("Heure (UTC+1)", 1, EITHER),
        ("Fecha y hora (UTC-5)", -5, EITHER),
    ):
        yield one(f"heading {heading}", in_zone(truth, zone, heading), truth, allowed,
                  zone_key=KEYS.get(zone, zone) if allowed is EITHER else "")  # fmt: skip
    for heading in ("Local time", "Time (local)", "Hora local", "Ortszeit"):
        yield one(f"heading {heading}", in_zone(truth, PARIS, heading), truth, EITHER)


def _titles() -> Iterator[Dialect]:
    truth = record(zone=PARIS)
    for line, zone, allowed in (
        ("Time zone: UTC", "UTC", READ),
        ("Time zone: America/Chicago", CHICAGO, READ),
        ("Timezone: Asia/Kolkata", "Asia/Kolkata", READ),
        ("Time zone: UTC-03:00", -3, EITHER),
        ("Time zone: (UTC-03:00) Brasilia", -3, EITHER),
        ("Time zone: GMT+5:30", 5.5, EITHER),
        ("Time zone: GMT-3", -3, EITHER),
        ("Zeitzone: UTC+01:00", 1, EITHER),
        ("Fuso horário: UTC-3", -3, EITHER),
        ("Zona horaria: GMT-6", -6, EITHER),
        ("Fuseau horaire : UTC+1", 1, EITHER),
        ("All times in EST", -5, EITHER),
        ("All times are UTC", "UTC", EITHER),
        ("Times shown in UTC-5", -5, EITHER),
        ("Time zone,UTC-03:00", -3, EITHER),
    ):
        rows = in_zone(truth, zone)
        yield one(f"title {line}", rows, truth, allowed, above=line + "\n\n",
                  zone_key=KEYS.get(zone, zone) if allowed is EITHER else "")  # fmt: skip
    # A line above that tells of the file, not of the readings: the mill's own time holds.
    for line in (
        "Created at UTC 2025-03-16 10:00",
        "Export time: UTC 2025-03-16 10:00:00",
        "Report generated 2025-03-16T10:00:00Z",
        "Run time (UTC): 2025-03-16 10:00; times of readings are local",
        "Server time zone: UTC. Readings in local time",
        "Last sync time UTC 2025-03-16 09:58",
    ):
        rows = in_zone(truth, PARIS)
        yield one(f"title says nothing, {line}", rows, truth, EITHER, above=line + "\n",
                  zone_key=PARIS)  # fmt: skip
    summer = record("2025-07-13", CHICAGO)
    for line in ("Time zone: Central Standard Time, no daylight saving", "Time zone: CST all year"):
        yield one(f"title {line}", in_zone(summer, -6), summer, EITHER, mill=CHICAGO,
                  above=f'"{line}"\n', zone_key="Etc/GMT+6")  # fmt: skip
    yield one("heading Time (CST, no DST)", in_zone(summer, -6, '"Time (CST no DST)"'), summer,
              EITHER, mill=CHICAGO)  # fmt: skip
    yield one("heading Time (CST) in summer", in_zone(summer, -6, "Time (CST)"), summer, EITHER,
              mill=CHICAGO, zone_key="Etc/GMT+6")  # fmt: skip


def _columns() -> Iterator[Dialect]:
    truth = record(zone=PARIS)
    for word, zone, allowed in (
        ("UTC", "UTC", EITHER),
        ("America/Chicago", CHICAGO, EITHER),
        ("-03:00", -3, EITHER),
        ("-0300", -3, EITHER),
        ("UTC-03:00", -3, EITHER),
        ("EST", -5, EITHER),
    ):
        rows = in_zone(truth, zone)
        rows = with_column(rows, "timezone", [word] * 32, at=1)
        yield one(f"column of {word}", rows, truth, allowed, spare=32,
                  zone_key=KEYS.get(zone, zone))  # fmt: skip
    table = long(truth, zone="UTC")
    table = with_column(table, "tz", ["UTC"] * len(truth), at=1)
    yield Dialect("zone: column tz of a long file", "zone", {"export.csv": text(table)}, truth,
                  EITHER, PARIS)  # fmt: skip
    hour = 3_600_000
    rows = with_column(in_zone(truth, PARIS), "utc_offset_ms", [str(hour)] * 32, at=1)
    yield one("column of offsets that agree with the mill", rows, truth, EITHER, spare=32)
    rows = with_column(in_zone(truth, -3), "UTC offset (h)", ["-3"] * 32, at=1)
    yield one("column of offsets in hours", rows, truth, EITHER, spare=32)
    rows = in_zone(truth, PARIS, "Time (local)")
    other = [row[0] for row in in_zone(truth, "UTC")[1:]]
    yield one("two columns, local and UTC", with_column(rows, "Time (UTC)", other, at=1), truth,
              EITHER, spare=32)  # fmt: skip


def _behind() -> Iterator[Dialect]:
    truth = record(zone=PARIS)
    for name, pattern, zone, allowed in (
        ("+0530", "%Y-%m-%d %H:%M:%S+0530", 5.5, READ),
        ("-03", "%Y-%m-%dT%H:%M:%S-03", -3, READ),
        ("blank and offset", "%Y-%m-%d %H:%M:%S -03:00", -3, READ),
        ("UTC", "%Y-%m-%d %H:%M:%S UTC", "UTC", READ),
        ("GMT", "%d-%b-%Y %H:%M:%S GMT", "UTC", READ),
        ("EST", "%Y-%m-%d %H:%M:%S EST", -5, EITHER),
        ("BRT", "%d/%m/%Y %H:%M BRT", -3, EITHER),
        ("UTC-3", "%Y-%m-%d %H:%M:%S UTC-3", -3, EITHER),
        ("GMT-03:00", "%d/%m/%Y %H:%M GMT-03:00", -3, EITHER),
        ("(UTC-03:00)", "%d/%m/%Y %H:%M (UTC-03:00)", -3, EITHER),
        ("+0000 UTC", "%Y-%m-%d %H:%M:%S +0000 UTC", "UTC", EITHER),
        ("day first and offset", "%d/%m/%Y %H:%M:%S -03:00", -3, READ),
        ("a zone in brackets", "%Y-%m-%dT%H:%M:%S-03:00[America/Sao_Paulo]", -3, EITHER),
    ):
        rows = in_zone(truth, zone, when=stamp(pattern))
        yield one(f"behind each time, {name}", rows, truth, allowed)
    fall = record("2025-10-25", PARIS, count=48, step_min=60)
    rows = in_zone(fall, PARIS, when=lambda m: m.strftime("%Y-%m-%d %H:%M:%S ")
                   + ("CEST" if m.dst() else "CET"))  # fmt: skip
    yield one("behind each time, CET and CEST over the change", rows, fall, ANY)


def _nothing_said() -> Iterator[Dialect]:
    """No word of a zone: the mill's own, over a change of clocks as well."""
    for zone, start in ((SAO_PAULO, "2025-03-13"), (PARIS, "2025-03-29"), (CHICAGO, "2025-03-08")):
        truth = record(start, zone, count=48, step_min=60)
        yield one(f"nothing said, {zone}, {start}", in_zone(truth, zone), truth, READ, mill=zone)
    fall = record("2025-11-01", CHICAGO, count=50, step_min=30)
    yield one(
        "nothing said, the hour that comes twice, half-hourly",
        in_zone(record("2025-11-02", CHICAGO, count=20, step_min=30), CHICAGO),
        record("2025-11-02", CHICAGO, count=20, step_min=30),
        EITHER,
        mill=CHICAGO,
    )
    yield one(
        "offset over the hour that comes twice",
        in_zone(fall, CHICAGO, when=lambda m: m.isoformat()),
        fall,
        READ,
        mill=CHICAGO,
    )
    other = record(zone=SAO_PAULO)
    data = text(in_zone(other, SAO_PAULO))
    yield Dialect("zone: unsaid and not the mill's, described", "zone", {"export.csv": data}, other,
                  READ, PARIS, {"shape": "wide", "time_zone": SAO_PAULO})  # fmt: skip
