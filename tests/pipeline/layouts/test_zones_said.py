"""Which zone a file says its times are in. Chicago is at UTC-05:00 on 13 March 2025."""

from __future__ import annotations

import pytest
from small_exports import half_hours, read, wide

from pipeline.base import DataError
from pipeline.layouts.zones_said import heading_zone

STAMPS = half_hours("%Y-%m-%d %H:%M")


def first_utc(path, content, **layout):
    found, _ = read(path, content, **layout)
    return min(at for at, _ in found)


@pytest.mark.parametrize(
    ("heading", "utc"),
    [
        ("time", "05:00"), ("Time (UTC)", "00:00"), ("time_utc", "00:00"), ("Time (GMT)", "00:00"),
        ("Time (Z)", "00:00"), ("Time (UTC-3)", "03:00"), ("Time UTC-03:00", "03:00"),
        ("time_utc-3", "03:00"), ("Zeit [UTC+01:00]", "23:00"), ("Hora (GMT+5:30)", "18:30"),
        ("Time (Europe/Paris)", "23:00"), ("Local time", "05:00"), ("Hora local", "05:00"),
        ("Time (dd/mm/yyyy)", "05:00"), ("UTC time", "00:00"), ("Heure (UTC−1)", "01:00"),
    ],
)  # fmt: skip
def test_a_heading_that_says_the_zone(tmp_path, heading, utc):
    assert first_utc(tmp_path / "a.csv", wide(STAMPS, heading))[-5:] == utc


@pytest.mark.parametrize(
    "heading", ["Time (EST)", "Hora (BRT)", "Time (CST no DST)", "Time (Eastern)", "Hora (Bogota)",
                "Time EST5EDT", "Time (EST5EDT)", "Zeit (MEZ)"],
)  # fmt: skip
def test_a_heading_that_may_mean_two_zones_is_asked_about(tmp_path, heading):
    with pytest.raises(DataError) as caught:
        read(tmp_path / "a.csv", wide(STAMPS, heading))
    assert " can be read " in caught.value.what
    assert " or " in caught.value.what
    assert "time_zone" in caught.value.next_step
    answered = first_utc(
        tmp_path / "a.csv", wide(STAMPS, heading), time_zone="-05:30", time_column=heading
    )
    assert answered == "2025-03-13 05:30"


def test_headings_that_name_no_zone():
    for heading in ("Time (s)", "Date and time", "Time [24h]", "Data", "Timestamp", "Time (start)"):
        assert heading_zone(heading) is None


@pytest.mark.parametrize(
    ("line", "utc"),
    [
        ("Time zone: UTC", "00:00"), ("Time zone: UTC-03:00", "03:00"), ("Zeitzone,UTC+1", "23:00"),
        ("Fuso horário: UTC-3", "03:00"), ("All times are UTC", "00:00"),
        ("Times shown in UTC-5", "05:00"), ("Data in GMT+5:30", "18:30"),
        ("All timestamps in Europe/Paris", "23:00"), ("Time zone of data: UTC", "00:00"),
        ("Time zone: UTC (Coordinated Universal Time)", "00:00"), ("UTC offset: -3", "03:00"),
        # These tell of the file.
        ("Created at UTC 2025-03-16 10:00", "05:00"),
        ("Export time: UTC 2025-03-16 10:00", "05:00"),
        ("Erstellt: 16.03.2025 10:00 UTC", "05:00"), ("Hora de impresión: 10:00 GMT", "05:00"),
        ("Run time (UTC): 2025-03-16 10:00; times of readings are local", "05:00"),
        ("Server time zone: UTC. Readings in local time", "05:00"),
        ("From,2025-03-13 00:00,To,2025-03-14 00:00", "05:00"), ("Mill: EST Sugar", "05:00"),
        ("Server time zone: America/Chicago", "05:00"),
    ],
)  # fmt: skip
def test_a_line_above_the_headings(tmp_path, line, utc):
    assert first_utc(tmp_path / "a.csv", f"{line}\n\n{wide(STAMPS)}")[-5:] == utc


@pytest.mark.parametrize(
    "line", ["Server time zone: UTC", "All times in EST", "Time zone: CST all year",
             "Time zone: (UTC-03:00) Brasilia", "Time zone: Brasília", "Period UTC: 13/03/2025",
             "Time zone: Central Standard Time\tno daylight saving", "All times Eastern",
             "Time zone: UTC\nTimes in local time"],
)  # fmt: skip
def test_a_line_that_may_mean_two_zones_is_asked_about(tmp_path, line):
    with pytest.raises(DataError, match=r"(?s)can be read.* or .*time_zone"):
        read(tmp_path / "a.csv", f"{line}\n{wide(STAMPS)}")


def test_a_line_below_the_readings_is_asked_about(tmp_path):
    with pytest.raises(DataError, match="line below the headings"):
        read(tmp_path / "a.csv", wide(STAMPS) + "All times are UTC\n")
    found, _ = read(tmp_path / "a.csv", wide(STAMPS) + "All times are local\n")
    assert min(found)[0] == "2025-03-13 05:00"


def test_a_file_called_after_a_zone_is_asked_about(tmp_path):
    with pytest.raises(DataError, match="can be read as UTC or as America/Chicago"):
        read(tmp_path / "tags_utc.csv", wide(STAMPS))
    zoned = [f"{stamp}:00+01:00" for stamp in STAMPS]
    assert first_utc(tmp_path / "tags_utc.csv", wide(zoned))[-5:] == "23:00"


@pytest.mark.parametrize(
    ("heading", "word", "utc"),
    [
        ("timezone", "UTC", "00:00"), ("tz", "-03:00", "03:00"), ("tz", "-0300", "03:00"),
        ("zone", "Europe/Paris", "23:00"), ("UTC offset (h)", "-3", "03:00"),
        ("utc_offset_ms", "3600000", "23:00"), ("offset", "-0300", "03:00"),
        ("", "+01:00", "23:00"),
        ("Fuseau", "UTC+1", "23:00"), ("tz", "local", "05:00"),
    ],
)  # fmt: skip
def test_a_column_that_gives_the_zone_of_each_row(tmp_path, heading, word, utc):
    lines = wide(STAMPS).splitlines()
    rows = [f"{lines[0]},{heading}", *(f"{line},{word}" for line in lines[1:])]
    found, tally = read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert min(found)[0][-5:] == utc
    assert len(found) == 2 * len(STAMPS)
    assert not tally.refused


def test_a_column_of_zones_row_by_row(tmp_path):
    lines = wide(STAMPS).splitlines()
    words = ["UTC", "-03:00", "", "Atlantis", "UTC", "UTC"]
    rows = [f"{lines[0]},tz", *(f"{x},{w}" for x, w in zip(lines[1:], words, strict=True))]
    with pytest.raises(DataError, match="Atlantis"):
        read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    rows[4] = rows[4].replace("Atlantis", "")
    found, tally = read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert sorted({at[-5:] for at, _ in found}) == ["00:00", "02:00", "02:30", "03:30"]
    assert tally.refused == {"zone_unreadable": 4}


def test_tags_that_begin_like_a_zone_are_none(tmp_path):
    from small_exports import Mill

    from pipeline.mill import UnitChange

    mill = Mill(unit_changes={"CT.LI231": UnitChange()})
    rows = ["time,tag,value", *(f"{stamp},CT.LI231,5{k}.5" for k, stamp in enumerate(STAMPS))]
    assert len(read(tmp_path / "a.csv", "\n".join(rows) + "\n", mill)[0]) == 6


def test_a_described_zone_goes_before_a_column_of_zones(tmp_path):
    lines = wide(STAMPS).splitlines()
    rows = [f"{lines[0]},tz", *(f"{line},EST" for line in lines[1:])]
    with pytest.raises(DataError, match=r'"tz" says "EST"'):
        read(tmp_path / "a.csv", "\n".join(rows) + "\n")
    assert first_utc(tmp_path / "a.csv", "\n".join(rows) + "\n", time_zone="-05:00")[-5:] == "05:00"
