"""The invented mills of the first hour: the same each time, and true to what they say."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from first_hour import MILLS, make_mill, specs
from first_hour.make import HELD_OUT, same_readings, spec_of, tag_truth
from first_hour.points import COURSES, LAB_POINTS
from first_hour.recorder import kept_as_lines, kept_by_exception
from first_hour.score_draft import same_unit, score_lab, score_tags
from first_hour.score_lake import against
from first_hour.units import form, is_known, meaning

DAYS = 2


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return make_mill(2, tmp_path_factory.mktemp("mill") / "exports", days=DAYS)


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _utc(text, pattern, zone):
    local = datetime.strptime(text, pattern).replace(tzinfo=ZoneInfo(zone))
    return local.astimezone(UTC)


def _as_told(path, pattern, zone):
    told = [
        {
            "name": row["PointID"],
            "ts_utc": _utc(row["TimeStamp"], pattern, zone),
            "value": float(row["PointValue"]) if row["Quality"] == "Good" else None,
        }
        for row in _rows(path)
    ]
    schema = {"name": pl.String, "ts_utc": pl.Datetime("ms", "UTC"), "value": pl.Float64}
    return pl.DataFrame(told, schema=schema)


def test_the_same_files_come_out_each_time(mill, tmp_path):
    again = make_mill(2, tmp_path / "again", days=DAYS)
    assert [f.name for f in again.files] == [f.name for f in mill.files]
    for one, other in zip(mill.files, again.files, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name


def test_files_say_what_the_truth_holds(mill):
    parts = [f for f in mill.exports if f.name.startswith("dcs_points")]
    assert len(parts) == 2
    for path in parts:
        told = _as_told(path, "%Y/%m/%d %H:%M:%S", mill.spec.zone)
        assert told.height > 500
        assert same_readings(told, mill.truth.readings[path.name])
    names = pl.concat([mill.truth.readings[p.name] for p in parts])["name"].unique()
    assert set(names) == set(mill.truth.tags)


def test_the_book_says_what_the_truth_holds(mill):
    (path,) = (f for f in mill.exports if f.name.startswith("LIMS"))
    true = mill.truth.readings[path.name]
    known = {name for series in mill.truth.lab for name in series.names}
    told = []
    for row in _rows(path):
        name = f"{row['Sample']} {row['Test']}".casefold()
        assert name in known
        number = row["Result"].replace(".", "", 1).isdigit()
        at = _utc(row["Sample Time"], "%Y/%m/%d %H:%M", mill.spec.zone)
        told.append((name, at, float(row["Result"]) if number else None))
    assert same_readings(pl.DataFrame(told, schema=true.schema, orient="row"), true)


def test_what_is_no_export_holds_nothing(mill):
    others = [f for f in mill.files if f not in mill.exports]
    assert len(others) == 4
    assert all(mill.truth.readings[f.name] is None for f in others)


# NIST SP 811 (2008), appendix B.8: 1 gal/min = 6.309020e-5 m3/s, 1 ft3/min = 4.719474e-4 m3/s,
# 1 psi = 6.894757 kPa, standard atmosphere 101.325 kPa; 1 L = 1e-3 m3 and degF by definition.
@pytest.mark.parametrize(
    ("unit", "inside", "exported"),
    [
        ("gpm", 3600 * 6.309020e-5, 1.0),
        ("ft3/min", 3600 * 4.719474e-4, 1.0),
        ("L/s", 3.6, 1.0),
        ("psig", 101.325 + 6.894757, 1.0),
        ("kPa g", 201.325, 100.0),
        ("°F", 100.0, 212.0),
        ("kgf/cm²", 101.325 + 98.0665, 1.0),
    ],
)
def test_units(unit, inside, exported):
    scale, offset, _ = form(unit)
    assert inside * scale + offset == pytest.approx(exported, rel=1e-6)


def _all_tags():
    return [(n, t) for n in (*MILLS, *HELD_OUT) for t in spec_of(n).tags]


def test_each_mill_is_whole():
    assert tuple(specs()) == MILLS
    for number in (*MILLS, *HELD_OUT):
        spec = spec_of(number)
        names = [t.name for t in spec.tags]
        assert len(set(names)) == len(names), number
        kinds = [t.kind for t in spec.tags if ":" not in t.kind]
        assert len(set(kinds)) == len(kinds), number
        assert set(kinds) <= set(COURSES)
        assert 20 <= len(kinds) <= 28, number
        assert 1 <= sum(t.kind.startswith("sp:") for t in spec.tags) <= 4
        assert {s.at for s in spec.lab} <= set(LAB_POINTS)
        series = [(s.point, s.heading) for s in spec.lab]
        assert len(set(series)) == len(series), number


def test_units_are_ones_of_their_quantity():
    for number, tag in _all_tags():
        true = tag_truth(tag, spec_of(number).tags)
        if true.point is None or meaning(tag.unit) == "m":
            continue
        assert is_known(tag.unit), (number, tag)
        assert same_unit(true.point.quantity, true.unit, meaning(true.unit)), (number, tag)


def test_recorders_keep_what_they_promise():
    rng = np.random.default_rng(5)
    course = np.cumsum(rng.normal(0.0, 0.3, 3000)) + rng.normal(0.0, 0.1, 3000)
    at = np.arange(course.size)
    held = kept_by_exception(course, 0.5, 60)
    shown = course[held][np.searchsorted(held, at, side="right") - 1]
    assert np.abs(shown - course).max() <= 0.5
    assert held.size < 0.9 * course.size
    ends = kept_as_lines(course, 0.5, 60)
    # Ends lie on the course, so that a line between two may leave the band by as much again.
    assert np.abs(np.interp(at, ends, course[ends]) - course).max() <= 1.0
    assert ends.size < held.size


def _told(truth):
    """The draft that says nothing but the truth."""
    tags = {
        name: {"quantity": t.point.quantity, "place": t.point.place, "port": t.point.port,
               "unit": t.unit, "interpolation": t.interpolation.replace("any", "linear")}
        | ({"beside": t.second_of} if t.second_of else {})
        for name, t in truth.tags.items() if t.point is not None
    }  # fmt: skip
    lab = {
        t.names[0]: {"analyte": t.analyte, "place": t.place, "port": t.port, "unit": t.unit,
                     "basis": t.basis, "period_h": t.period_h}
        for t in truth.lab
    }  # fmt: skip
    return tags, lab


def test_the_scorer_finds_the_truth_right_and_each_lie_wrong(mill):
    tags, lab = _told(mill.truth)
    right = score_tags(tags, mill.truth).counts
    assert right["tag right"] == right["unit right"] == right["held right"] == right["tag all"]
    assert right["none not placed"] == right["none all"]
    assert score_lab(lab, mill.truth).counts["extra right"] == len(lab)

    def wrong(name, **said):
        return score_tags({**tags, name: {**tags.get(name, {}), **said}}, mill.truth).counts

    assert wrong("CJpH", place="liming_tank")["tag wrong"] == 1
    assert wrong("LimedJc_pH_2", beside="CJpH")["tag wrong"] == 1
    assert wrong("MixJuiceFlow", unit="m3/h")["unit wrong"] == 1
    assert wrong("MixJuiceFlow", interpolation="linear")["held wrong"] == 1
    assert wrong("VacPumpAmps", quantity="flow", place="settler")["none wrong"] == 1
    alone = {**tags, "LimedJc_pH_2": {**tags["LimedJc_pH_2"], "beside": ""}}
    assert score_tags(alone, mill.truth).counts["tag wrong"] == 1
    name = next(iter(lab))
    moved = {**lab, name: {**lab[name], "place": "syrup"}}
    assert score_lab(moved, mill.truth).counts["lab wrong"] == 1
    assert score_lab({**lab, "Crew": {}}, mill.truth).counts["lab invented"] == 1


def test_what_the_lake_holds_is_compared_moment_by_moment():
    at = [datetime(2025, 6, 16, hour, tzinfo=UTC) for hour in range(6)]

    def rows(name, values, hours):
        return pl.DataFrame(
            {"name": ["a"] * len(hours), "ts_utc": [at[h] for h in hours], name: values},
            schema_overrides={name: pl.Float64},
        )

    # Hour 3 has no number, hour 4 a repeat; hour 5 is not in the lake.
    true = rows("value", [1.0, 2.0, 3.0, None, 5.0, 5.2, 6.0], [0, 1, 2, 3, 4, 4, 5])
    held = rows("held", [1.0, 2.001, None, 9.0, 5.2], [0, 1, 2, 3, 4])
    assert against(held, true) == {"right": 2, "other": 2, "lost": 2}
    asked_about = rows("held", [1.0, 2.0, 3.0, None, None, 6.0], [0, 1, 2, 3, 4, 5])
    assert against(asked_about, true) == {"right": 4, "other": 0, "lost": 0}
