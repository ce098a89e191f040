"""Small exports read by a small mill, for tests of what a file is understood to say."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.mill import ExportLayout, UnitChange

TAGS = ("MJ.FI101", "LT.AI212", "SH.TI221")


@dataclass
class Mill:
    """A mill of three tags that are stored as exported."""

    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    unit_changes: dict = field(default_factory=lambda: dict.fromkeys(TAGS, UnitChange()))


def read(path, content, mill=None, **layout):
    """Readings of a text by (UTC, tag), and the tally."""
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    tally = Tally()
    given = ExportLayout(name="mine", **layout) if layout else None
    found = {}
    for frame in export_readings(path, given, mill or Mill(), tally):
        for row in frame.iter_rows(named=True):
            found[f"{row['ts_utc']:%Y-%m-%d %H:%M}", row["tag"]] = row["value"]
    return found, tally


def wide(stamps, heading="time", tags=TAGS[:2], start=1.5):
    """Rows of a wide table, each value once."""
    lines = [",".join([heading, *tags])]
    for k, stamp in enumerate(stamps):
        lines.append(",".join([stamp, *(f"{start + 10 * k + j}" for j in range(len(tags)))]))
    return "\n".join(lines) + "\n"


def half_hours(pattern, start=datetime(2025, 3, 13), count=6):  # noqa: DTZ001 (as a clock shows)
    """Local times half an hour apart."""
    from datetime import timedelta

    return [(start + timedelta(minutes=30 * k)).strftime(pattern) for k in range(count)]
