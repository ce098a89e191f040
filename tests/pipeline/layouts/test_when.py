"""Which columns say when a reading was taken."""

from __future__ import annotations

import pytest
from small_exports import half_hours, read, wide

from pipeline.base import DataError

DAYS = half_hours("%d/%m/%Y")


def apart(day, clock, pattern, stamps=None):
    """A wide table with dates and times of day in columns of their own."""
    clocks = stamps or half_hours(pattern)
    lines = wide(["x"] * 6).splitlines()
    rows = [f"{day},{clock},MJ.FI101,LT.AI212"]
    for date, time, line in zip(DAYS, clocks, lines[1:], strict=True):
        rows.append(f"{date},{time},{line.partition(',')[2]}")
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    ("day", "clock", "pattern"),
    [
        ("Fecha", "Hora", "%H:%M"), ("Date", "Heure", "%H:%M"), ("Datum", "Uhrzeit", "%H:%M:%S"),
        ("Päivä", "Kello", "%H:%M"), ("Date", "Heure", "%Hh%M"), ("Date", "Time", "%I:%M %p"),
        ("Date", "Time", "%H%M"), ("Datum", "Uhrzeit", "%H:%M Uhr"),
    ],
)  # fmt: skip
def test_date_and_time_of_day_apart(tmp_path, day, clock, pattern):
    found, tally = read(tmp_path / "a.csv", apart(day, clock, pattern))
    assert sorted({at for at, _ in found}) == [
        f"2025-03-13 0{5 + k // 2}:{30 * (k % 2):02}" for k in range(6)
    ]
    assert not tally.refused


def test_whole_hours_beside_a_date(tmp_path):
    found, tally = read(tmp_path / "a.csv", apart("Date", "Hour", "", list("012345")))
    assert {at[-5:] for at, _ in found} == {f"{h:02}:00" for h in range(5, 11)}
    assert any("hours of the day" in note for note in tally.notes)


def test_am_and_pm_in_a_column_of_their_own(tmp_path):
    stamps = [f"03/13/2025 {h:02}:15,{half}" for half in ("AM", "p.m.") for h in (12, 5, 11)]
    found, _ = read(tmp_path / "a.csv", wide(stamps, "Time,"))
    assert sorted({at[-5:] for at, _ in found}) == [
        "04:15", "05:15", "10:15", "16:15", "17:15", "22:15"
    ]  # fmt: skip


def lab(first, second):
    """Two columns of moments, the second an hour and a half later."""
    stamps = [f"2025-03-13 0{h}:00,2025-03-13 0{h + 1}:30" for h in range(1, 6)]
    return wide(stamps, f"{first},{second}")


@pytest.mark.parametrize(
    ("first", "second", "utc"),
    [
        ("sampled_at", "time", "06:00"), ("timestamp", "Probenahme", "07:30"),
        ("Date saisie", "Date prélèvement", "07:30"), ("Fecha muestra", "Fecha", "06:00"),
    ],
)  # fmt: skip
def test_the_time_of_sampling_goes_before_that_of_entry(tmp_path, first, second, utc):
    found, _ = read(tmp_path / "a.csv", lab(first, second))
    assert min(found)[0][-5:] == utc


@pytest.mark.parametrize(("first", "second"), [("time", "entered"), ("From", "To"), ("A", "B")])
def test_two_times_of_which_none_is_of_sampling_are_asked_about(tmp_path, first, second):
    with pytest.raises(DataError, match=r"(?s)can be that of column .* or .*time_column"):
        read(tmp_path / "a.csv", lab(first, second))
    found, _ = read(tmp_path / "a.csv", lab(first, second), time_column=second)
    assert min(found)[0][-5:] == "07:30"


def test_two_times_that_say_the_same_or_nothing_are_no_question(tmp_path):
    same = [f"{s},{s}" for s in half_hours("%Y-%m-%d %H:%M")]
    assert len(read(tmp_path / "a.csv", wide(same, "time,again"))[0]) == 12
    printed = [f"{s},2025-03-16 10:00" for s in half_hours("%Y-%m-%d %H:%M")]
    assert min(read(tmp_path / "a.csv", wide(printed, "time,stamp"))[0])[0][-5:] == "05:00"
    local_and_utc = [f"2025-03-13 0{h}:00,2025-03-13 0{h + 4}:00" for h in range(1, 5)]
    found, _ = read(tmp_path / "a.csv", wide(local_and_utc, "Time (local),Time (UTC)"))
    assert min(found)[0][-5:] == "05:00"


@pytest.mark.parametrize("heads", ["time,{0},time,{1}", ",{0},,{1}", "time {0},{0},time {1},{1}"])
def test_pairs_side_by_side(tmp_path, heads):
    rows = [heads.format("MJ.FI101", "LT.AI212")]
    rows += [f"2025-03-13 0{h}:00,{h},2025-03-13 0{h}:10,{h}.5" for h in range(3)]
    rows += ["2025-03-13 03:00,3", "2025-03-13 04:00,4,,"]
    found, tally = read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert found["2025-03-13 06:00", "MJ.FI101"] == 1.0
    assert found["2025-03-13 06:10", "LT.AI212"] == 1.5
    assert len(found) == 8
    assert tally.rows == 8
    assert not tally.refused
    again, _ = read(tmp_path / "a.csv", "\n".join(rows) + "\n", shape="pairs")
    assert again == found


def test_pairs_that_may_be_remarks_are_asked_about(tmp_path):
    rows = ["time,MJ.FI101,checked,LT.AI212"]
    rows += [f"2025-03-13 0{h}:00,{h},2025-03-13 0{h}:10,{h}.5" for h in range(3)]
    with pytest.raises(DataError, match="shape"):
        read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    with pytest.raises(DataError, match="no pairs"):
        read(tmp_path / "a.csv", wide(half_hours("%Y-%m-%d %H:%M")), shape="pairs")


def test_tags_above_pairs(tmp_path):
    rows = ["MJ.FI101,,LT.AI212,", "Time,Value,Time,Value"]
    rows += [f"2025-03-13 0{h}:00,{h},2025-03-13 0{h}:10,{h}.5" for h in range(3)]
    found, _ = read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert found["2025-03-13 05:10", "LT.AI212"] == 0.5
