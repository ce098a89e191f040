"""Axes put together: shape x marks x way of writing moments, all of which say enough to be read."""

from __future__ import annotations

from collections.abc import Iterator

from dialect_truth import CHICAGO, PARIS, READ, SAO_PAULO, Dialect, record
from dialect_write import ISO, Marks, long, packed, stamp, text, wide

MARKS = {
    "comma, point": Marks(",", "."),
    "semicolon, comma": Marks(";", ","),
    "semicolon, point": Marks(";", "."),
    "tab, comma": Marks("\t", ","),
    "tab, point": Marks("\t", "."),
    "bar, point": Marks("|", "."),
    "quoted decimal comma": Marks(",", ","),
    "semicolon, point for thousands": Marks(";", ",", "."),
    "comma for thousands in quotes": Marks(",", ".", ","),
    "tab, blank for thousands": Marks("\t", ",", " "),
    "semicolon, apostrophe for thousands": Marks(";", ".", "'"),
    "semicolon, narrow blank for thousands": Marks(";", ",", "\u202f"),
    "tab, no-break blank for thousands": Marks("\t", ",", "\u00a0"),
}
#: Way of writing moments, and whether they are the mill's own or UTC.
STAMPS = {
    "ISO": (ISO, "local"),
    "ISO with T and Z": (stamp("%Y-%m-%dT%H:%M:%SZ"), "UTC"),
    "ISO with offset": (lambda m: m.isoformat(), "local"),
    "ISO to the minute": (stamp("%Y-%m-%d %H:%M"), "local"),
    "day first": (stamp("%d/%m/%Y %H:%M"), "local"),
    "month first, AM and PM": (stamp("%m/%d/%Y %I:%M:%S %p"), "local"),
    "day first, dotted": (stamp("%d.%m.%Y %H:%M:%S"), "local"),
    "month named": (stamp("%d-%b-%Y %H:%M:%S"), "local"),
    "day first, dashed": (stamp("%d-%m-%Y %H:%M"), "local"),
    "slashed, year first": (stamp("%Y/%m/%d %H:%M:%S"), "local"),
    "compact": (stamp("%Y%m%d%H%M%S"), "local"),
    "epoch in s": (lambda m: str(int(m.timestamp())), "UTC"),
    "epoch in ms": (lambda m: str(int(m.timestamp() * 1000)), "UTC"),
}
ZONES = (SAO_PAULO, PARIS, CHICAGO)


def dialects() -> Iterator[Dialect]:
    """Every pair of marks and moments once, shape and zone in turn."""
    number = 0
    for shift in range(6):
        for k, (mark, marks) in enumerate(MARKS.items()):
            told = list(STAMPS)[(k + 2 * shift) % len(STAMPS)]
            when, where = STAMPS[told]
            zone = ZONES[number % 3]
            written = "UTC" if where == "UTC" else zone
            truth = record(zone=zone, count=32)
            shape = "long" if (k + shift) % 2 else "wide"
            rows = (long if shape == "long" else wide)(truth, when, marks, written)
            data = text(rows, marks, eol="\r\n" if number % 5 == 4 else "\n")
            name = f"grid {number:02}: {shape}, {mark}, {told}, {zone}"
            files = {"export.csv.gz": packed(data)} if number % 7 == 6 else {"export.csv": data}
            yield Dialect(name, "grid", files, truth, READ, zone)
            number += 1
