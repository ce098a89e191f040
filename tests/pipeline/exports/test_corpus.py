"""Every file of the corpus is read as the expectation beside it says."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pytest

from pipeline.base.errors import DataError
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.units import UnitChange, lab_change, signal_change

FILES = Path(__file__).parent / "corpus" / "files"
NAMES = sorted(p.name for p in FILES.iterdir() if not p.name.endswith(".expected.json"))
QUANTITIES = {"MJ.FI101": "flow", "LT.AI212": "ph", "SH.TI221": "temperature"}
ANALYTES = {"LAB CJ rs": "rs", "LAB CJ ph": "ph"}


@dataclass(frozen=True)
class CorpusMill:
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    unit_changes: dict = field(
        default_factory=lambda: dict.fromkeys([*QUANTITIES, *ANALYTES], UnitChange())
    )

    def change_from(self, tag, unit):
        if tag in QUANTITIES:
            return signal_change(QUANTITIES[tag], unit)
        return lab_change(ANALYTES[tag], unit) if tag in ANALYTES else None


def read(path, expected):
    layout = expected.get("layout")
    layout = ExportLayout(name="corpus", shape="long", **layout) if layout is not None else None
    tally, plans, found = Tally(), [], []
    for frame in export_readings(
        path,
        layout,
        CorpusMill(**expected.get("mill", {})),
        tally,
        lambda table, plan, raw, evidence: plans.append(plan),
    ):
        found += frame.rows(named=True)
    return found, tally, plans


def key(moment, tag, value, reason):
    return moment, tag, None if value is None else round(value, 6), reason


def test_the_corpus_is_as_large_as_promised():
    assert len(NAMES) >= 60
    for name in NAMES:
        assert (FILES / f"{name}.expected.json").exists()


@pytest.mark.parametrize("name", NAMES)
def test_a_file_is_read_as_expected(name):
    path = FILES / name
    expected = json.loads((FILES / f"{name}.expected.json").read_text(encoding="utf-8"))
    if "error" in expected:
        with pytest.raises(DataError) as caught:
            read(path, expected)
        assert expected["error"] in caught.value.what
        assert str(path) in caught.value.where
        assert caught.value.next_step
        return
    found, tally, plans = read(path, expected)
    assert Counter(key(r["ts_utc"], r["tag"], r["value"], r["reason"]) for r in found) == Counter(
        key(datetime.fromisoformat(t), tag, v, why) for t, tag, v, why in expected["readings"]
    )
    assert all(r["bad"] == (r["reason"] is not None) for r in found)
    assert tally.rows == expected["rows"]
    assert {k: v for k, v in tally.refused.items() if v} == expected["refused"]
    told = "\n".join(tally.notes)
    for piece in expected.get("notes", ()):
        assert piece in told
    for piece in expected.get("silent", ()):
        assert piece not in told
    plan = expected.get("plan", {})
    assert plan.get("shape", plans[0].shape) == plans[0].shape
    assert plan.get("time_zone", plans[0].time_zone) == plans[0].time_zone
    if "time_format" in plan:
        assert plans[0].time_formats == (plan["time_format"],)
