"""Pulling exports: the same readings whatever the file looks like, and every row accounted for."""

from __future__ import annotations

import gzip
import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.config_models import ExportLayout, Exports
from pipeline.errors import DataError
from pipeline.lake import Lake
from pipeline.pull import pull_files
from pipeline.units import UnitChange

START = datetime(2025, 10, 6, 20, 0, tzinfo=UTC)


@dataclass(frozen=True)
class FakeMill:
    lake_path: Path
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    exports: Exports = field(default_factory=Exports)
    unit_changes: dict = field(
        default_factory=lambda: {
            "PH.1": UnitChange(),
            "TI.2": UnitChange(5 / 9, -160 / 9),
            "LAB CJ rs": UnitChange(),
        }
    )

    @property
    def incoming_path(self):
        return self.lake_path / "incoming"


def content(mill):
    lake = Lake(mill.lake_path)
    return lake.read_readings(date(2020, 1, 1), date(2030, 1, 1))


def lake_bytes(mill):
    """All of the lake but the notes on files that were pulled."""
    root = mill.lake_path
    found = {p.relative_to(root).as_posix(): p for p in root.rglob("*") if p.is_file()}
    return {name: p.read_bytes() for name, p in found.items() if not name.startswith("pulled/")}


def assert_balanced(result):
    for source in result.sources:
        assert source.rows_read == source.kept + source.merged + sum(source.refused.values())
        assert len(source.sha256) == 64


def long_frame(rows=600):
    """Six hours that cross UTC midnight: pH and a temperature in degF, every 36 s."""
    times = [START + timedelta(seconds=36 * k) for k in range(rows)]
    rng = random.Random(7)
    ph = pl.DataFrame({"time": times, "tag": "PH.1", "value": [7 + rng.random() for _ in times]})
    temp = ph.with_columns(tag=pl.lit("TI.2"), value=pl.lit(212.0))
    frame = pl.concat([ph, temp]).with_columns(pl.col("value").round(3))
    return frame.with_columns(pl.col("time").dt.cast_time_unit("us"))


def as_text(frame, zone="America/Chicago", pattern="%Y-%m-%d %H:%M:%S"):
    return frame.with_columns(
        pl.col("time").dt.convert_time_zone(zone).dt.strftime(pattern),
        pl.col("value").cast(pl.String),
    )


def pulled(tmp_path, name, *files, **mill_options):
    mill = FakeMill(tmp_path / name, **mill_options)
    result = pull_files(mill, list(files))
    assert_balanced(result)
    return mill, result


@pytest.fixture(name="reference")
def _reference(tmp_path):
    path = tmp_path / "tags.parquet"
    long_frame().write_parquet(path)
    mill, result = pulled(tmp_path, "reference", path)
    assert result.days_changed == (date(2025, 10, 6), date(2025, 10, 7))
    assert result.missing_tags == ("LAB CJ rs",)
    assert result.sources[0].kept == 1200
    assert result.sources[0].first_utc == START
    return lake_bytes(mill)


def test_values_arrive_in_the_inside_unit(tmp_path, reference):
    frame = content(FakeMill(tmp_path / "reference"))
    warm = frame.filter(pl.col("tag") == "TI.2")["value"]
    assert warm.to_list() == pytest.approx([100.0] * 600)  # 212 degF
    assert frame["ts_utc"].min() == START


def test_iso_text_with_offset(tmp_path, reference):
    path = tmp_path / "a.csv"
    as_text(long_frame(), pattern="%Y-%m-%dT%H:%M:%S%z").write_csv(path)
    assert lake_bytes(pulled(tmp_path, "a", path)[0]) == reference
    as_text(long_frame(), "UTC", "%Y-%m-%dT%H:%M:%SZ").write_csv(path)
    assert lake_bytes(pulled(tmp_path, "b", path)[0]) == reference


def test_local_naive_text_semicolons_decimal_comma_gzip_and_old_encoding(tmp_path, reference):
    frame = as_text(long_frame(), pattern="%d.%m.%Y %H:%M:%S").with_columns(
        pl.col("value").str.replace(".", ",", literal=True), Qualität=pl.lit("gut")
    )
    path = tmp_path / "export.csv.gz"
    path.write_bytes(gzip.compress(frame.write_csv(separator=";").encode("cp1252")))
    assert lake_bytes(pulled(tmp_path, "gz", path)[0]) == reference


def test_tabs_utf16_and_quoted_cells(tmp_path, reference):
    text = as_text(long_frame()).write_csv(separator="\t", quote_style="always")
    path = tmp_path / "export.txt"
    path.write_bytes(text.encode("utf-16"))
    assert lake_bytes(pulled(tmp_path, "tabs", path)[0]) == reference


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_wide_and_long_give_the_same_lake(tmp_path, reference, suffix):
    wide = long_frame().pivot("tag", index="time", values="value")
    path = tmp_path / f"wide.{suffix}"
    if suffix == "csv":
        wide = wide.with_columns(pl.col("time").dt.convert_time_zone("UTC").dt.strftime("%FT%TZ"))
        wide.insert_column(0, pl.Series("", range(wide.height))).write_csv(path)
    else:
        wide.write_parquet(path)
    mill, result = pulled(tmp_path, "wide", path)
    assert lake_bytes(mill) == reference
    assert result.sources[0].rows_read == 1200


def test_slashed_dates_are_told_apart_by_days_above_twelve(tmp_path):
    for k, pattern in enumerate(("%d/%m/%Y %H:%M", "%m/%d/%Y %I:%M %p")):
        path = tmp_path / f"{k}.csv"
        path.write_text(
            "time,tag,value\n"
            + "".join(
                f"{datetime(2025, 10, d, 15, 5, tzinfo=UTC):{pattern}},PH.1,7.{d}\n"
                for d in (5, 25)
            )
        )
        mill, _ = pulled(tmp_path, str(k), path)
        expected = [datetime(2025, 10, d, 20, 5, tzinfo=UTC) for d in (5, 25)]
        assert content(mill)["ts_utc"].to_list() == expected


def test_dates_that_can_be_read_both_ways_are_asked_about(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n05/10/2025 15:05,PH.1,7.1\n")
    with pytest.raises(DataError, match="day/month") as caught:
        pulled(tmp_path, "x", path)
    assert "time_format" in caught.value.next_step
    layout = ExportLayout(name="mine", match="*.csv", time_format="%d/%m/%Y %H:%M")
    mill, result = pulled(tmp_path, "y", path, exports=Exports(layout=(layout,)))
    assert content(mill)["ts_utc"].to_list() == [datetime(2025, 10, 5, 20, 5, tzinfo=UTC)]
    assert result.sources[0].layout == "mine"


def lab_file(tmp_path, rows):
    path = tmp_path / "lab.csv"
    path.write_text("sampled,point_analyte,result\n" + "".join(f"{r}\n" for r in rows))
    return path


def test_lab_words_are_kept_as_reasons(tmp_path):
    rows = [
        "2025-10-06 02:00,LAB CJ rs,0.61",
        "2025-10-06 04:00,LAB CJ rs,n.d.",
        "2025-10-06 06:00,LAB CJ rs,<0.05",
        "2025-10-06 08:00,LAB CJ rs,> 9.5",
        "2025-10-06 10:00,LAB CJ rs,",
        "2025-10-06 12:00,LAB CJ rs,broken flask",
        "2025-10-06 14:00,LAB CJ rs,0.63",
    ]
    mill, result = pulled(tmp_path, "x", lab_file(tmp_path, rows))
    frame = content(mill)
    assert frame.select("value", "reason").rows() == [
        (0.61, None),
        (None, "n.d."),
        (0.05, "below_detection"),
        (9.5, "above_detection"),
        (None, "no_value"),
        (None, "broken flask"),
        (0.63, None),
    ]
    assert frame["ts_utc"][0] == datetime(2025, 10, 6, 7, tzinfo=UTC)  # daylight saving time
    assert result.sources[0].bad == {
        "above_detection": 1,
        "below_detection": 1,
        "no_result": 1,
        "no_value": 1,
        "unreadable_text": 1,
    }


def test_long_foreign_words_are_cut_and_control_characters_taken_out(tmp_path):
    rows = ["2025-10-06 02:00,LAB CJ rs,\x1b[2J" + "x" * 500] + [
        f"2025-10-06 {h:02d}:00,LAB CJ rs,1" for h in range(3, 9)
    ]
    mill, _ = pulled(tmp_path, "x", lab_file(tmp_path, rows))
    assert content(mill)["reason"][0] == " [2J" + "x" * 36


def test_a_comma_number_in_a_point_file_never_becomes_a_wrong_number(tmp_path):
    path = tmp_path / "a.csv"
    head = "time;tag;value\n"
    good = "".join(f"2025-10-06 0{k}:00;PH.1;7,4{k}\n" for k in range(8))
    path.write_text(head + good + "2025-10-06 09:00;PH.1;7.48\n2025-10-06 10:00;PH.1;1.007,5\n")
    mill, _ = pulled(tmp_path, "x", path)
    assert content(mill).select("value", "reason").rows()[-2:] == [(None, "7.48"), (1007.5, None)]


def test_quality_words_and_numbers_that_are_none(tmp_path):
    path = tmp_path / "q.parquet"
    frame = (
        long_frame(5)
        .head(5)
        .with_columns(
            value=pl.Series([7.1, 7.2, float("nan"), float("inf"), None]),
            quality=pl.Series(["Good", "uncertain", "good", "good", "bad"]),
        )
    )
    frame.write_parquet(path)
    mill, _ = pulled(tmp_path, "q", path)
    assert content(mill).select("value", "bad", "reason").rows() == [
        (7.1, False, None),
        (7.2, True, "uncertain_quality"),
        (None, True, "not_a_number"),
        (None, True, "not_a_number"),
        (None, True, "no_value"),
    ]


def test_rows_that_cannot_be_readings_are_counted_by_reason(tmp_path):
    path = tmp_path / "a.csv"
    good = "".join(f"2025-10-06 0{k}:00,PH.1,7.4\n" for k in range(9))
    odd = "yesterday,PH.1,7.4\n2025-10-06 10:00,,7.4\n2025-10-06 10:00,XX.9,7.4\n\n"
    path.write_text("time,tag,value\n" + good + odd)
    _, result = pulled(tmp_path, "x", path)
    source = result.sources[0]
    assert source.refused == {"tag_absent": 1, "tag_not_in_mill": 1, "time_unreadable": 1}
    assert source.tags_not_in_mill == ("XX.9",)
    assert (source.rows_read, source.kept) == (12, 9)


def test_a_wide_file_counts_its_cells(tmp_path):
    path = tmp_path / "w.csv"
    path.write_text("Time,PH.1,TI.2,EVENT\n2025-10-06 10:00,7.4,,0\n2025-10-06 10:01,7.5,212,1\n")
    mill, result = pulled(tmp_path, "w", path)
    source = result.sources[0]
    assert source.rows_read == 6
    assert source.refused == {"empty_cell": 1, "tag_not_in_mill": 2}
    assert source.tags_not_in_mill == ("EVENT",)
    assert content(mill)["value"].to_list() == pytest.approx([7.4, 7.5, 100.0])


def test_the_hour_that_occurs_twice_follows_the_mill(tmp_path):
    # Daylight saving ends 2025-11-02 02:00 in Chicago: 01:30 occurs at 06:30 and 07:30 UTC.
    rows = ["2025-11-02 01:30,LAB CJ rs,0.6", "2025-11-02 03:00,LAB CJ rs,0.7"]
    path = lab_file(tmp_path, rows)
    for policy, hour in (("first", 6), ("second", 7)):
        mill, _ = pulled(tmp_path, policy, path, ambiguous=policy)
        assert content(mill)["ts_utc"].to_list() == [
            datetime(2025, 11, 2, hour, 30, tzinfo=UTC),
            datetime(2025, 11, 2, 9, 0, tzinfo=UTC),
        ]
    _, result = pulled(tmp_path, "refuse", path, ambiguous="refuse")
    assert result.sources[0].refused == {"local_time_repeated": 1}


def test_the_hour_that_is_skipped_follows_the_mill(tmp_path):
    # Clocks go forward 2026-03-08 02:00 in Chicago: 02:30 is read as 03:30 CDT = 08:30 UTC.
    rows = ["2026-03-08 01:59,LAB CJ rs,0.6", "2026-03-08 02:30,LAB CJ rs,0.7"]
    path = lab_file(tmp_path, rows)
    mill, _ = pulled(tmp_path, "shift", path)
    assert content(mill)["ts_utc"].to_list() == [
        datetime(2026, 3, 8, 7, 59, tzinfo=UTC),
        datetime(2026, 3, 8, 8, 30, tzinfo=UTC),
    ]
    _, result = pulled(tmp_path, "refuse", path, missing="refuse")
    assert result.sources[0].refused == {"local_time_skipped": 1}


def test_naive_parquet_times_take_the_zone_of_their_layout(tmp_path):
    path = tmp_path / "tags_1.parquet"
    long_frame(3).with_columns(pl.col("time").dt.replace_time_zone(None)).write_parquet(path)
    layout = ExportLayout(name="historian", match="TAGS*.parquet", time_zone="UTC")
    mill, _ = pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))
    assert content(mill)["ts_utc"].min() == START
    mill, _ = pulled(tmp_path, "y", path)
    assert content(mill)["ts_utc"].min() == START + timedelta(hours=5)


def test_seven_overlapping_files_in_any_order_and_form_give_the_same_bytes(tmp_path, reference):
    frame = long_frame()
    rng = random.Random(11)
    for attempt in range(3):
        files = []
        for k in range(7):
            chosen = [i for i in range(frame.height) if i % 7 == k or rng.random() < 0.3]
            rng.shuffle(chosen)
            path = tmp_path / f"{attempt}_{k}.{'csv' if k % 2 else 'parquet'}"
            piece = frame[chosen]
            as_text(piece).write_csv(path) if k % 2 else piece.write_parquet(path)
            files.append(path)
        rng.shuffle(files)
        together, result = pulled(tmp_path, f"together{attempt}", *files)
        assert lake_bytes(together) == reference
        assert sum(source.kept for source in result.sources) == 1200
        for path in files:
            one_by_one, _ = pulled(tmp_path, f"single{attempt}", path)
        assert lake_bytes(one_by_one) == reference


def test_a_second_pull_changes_nothing(tmp_path, reference):
    mill, result = pulled(tmp_path, "reference", tmp_path / "tags.parquet")
    assert result.days_changed == ()
    assert (result.sources[0].kept, result.sources[0].merged) == (0, 1200)
    assert lake_bytes(mill) == reference


# The last import wins -----------------------------------------------------------------------------

FIRST = date(2025, 10, 6)


def export(tmp_path, name, *values, tag="PH.1", minute=0):
    """An export of readings a minute apart; text for a value, and its quality after a bar."""
    path = tmp_path / name
    cells = [f"{value}|good".split("|")[:2] for value in values]
    path.write_text(
        "time,tag,value,quality\n"
        + "".join(
            f"2025-10-06 15:{minute + k:02d},{tag},{value},{quality}\n"
            for k, (value, quality) in enumerate(cells)
        )
    )
    return path


def told(mill, *files, **options):
    result = pull_files(mill, list(files), **options)
    assert_balanced(result)
    return result


def values(mill):
    return content(mill)["value"].to_list()


def test_a_later_export_corrects_and_only_its_day_changes(tmp_path, reference):
    path = tmp_path / "corrected.parquet"
    long_frame().head(1).with_columns(value=pl.lit(6.5)).write_parquet(path)
    mill = FakeMill(tmp_path / "reference")
    result = told(mill, path)
    assert result.days_changed == (FIRST,)
    assert result.sources[0].conflicts == 1
    assert content(mill)["value"][0] == 6.5
    assert told(mill, path).days_changed == ()


def test_an_old_file_pulled_again_undoes_no_correction(tmp_path):
    mill = FakeMill(tmp_path / "x")
    old, new = export(tmp_path, "old.csv", 7.1, 7.2), export(tmp_path, "new.csv", 7.15)
    told(mill, old)
    assert told(mill, new).sources[0].conflicts == 1
    before = lake_bytes(mill)
    copy = tmp_path / "copy.csv"
    copy.write_bytes(old.read_bytes())
    for path in (old, copy):
        result = told(mill, path)
        assert result.days_changed == ()
        assert result.sources[0].again
        assert (result.sources[0].merged, result.sources[0].conflicts) == (2, 0)
        assert result.sources[0].name == path.name
        assert result.missing_tags == ("LAB CJ rs", "TI.2")
    assert lake_bytes(mill) == before
    assert told(mill, old, again=True).days_changed == (FIRST,)
    assert values(mill) == [7.1, 7.2]


def test_files_of_one_pull_count_in_the_order_named(tmp_path):
    told_of = [(7.1, 7.2, "7.3|bad"), (7.15, "9.9|bad"), ("7.7|bad", 7.25, 7.35), (7.1, 7.2)]
    files = [export(tmp_path, f"{k}.csv", *some) for k, some in enumerate(told_of)]
    files.append(tmp_path / "again.csv")
    files[-1].write_bytes(files[0].read_bytes())
    rng = random.Random(2)
    for attempt in range(4):
        together, single = FakeMill(tmp_path / f"t{attempt}"), FakeMill(tmp_path / f"s{attempt}")
        at_once = told(together, *files).sources
        one_by_one = [told(single, path).sources[0] for path in files]
        assert lake_bytes(together) == lake_bytes(single)
        for a, b in zip(at_once, one_by_one, strict=True):
            assert (a.kept, a.merged, a.conflicts, a.good_stays) == (
                b.kept, b.merged, b.conflicts, b.good_stays)  # fmt: skip
        rng.shuffle(files)


def test_a_bad_reading_never_replaces_a_good_one_unless_asked(tmp_path):
    mill = FakeMill(tmp_path / "x")
    told(mill, export(tmp_path, "a.csv", 7.1, 7.2, "7.3|bad", "7.4|bad"))
    doubts = export(tmp_path, "b.csv", "7.1|uncertain", "7.9|bad", 7.5, "|bad")
    source = told(mill, doubts).sources[0]
    assert (source.kept, source.merged, source.good_stays, source.conflicts) == (0, 4, 2, 0)
    assert values(mill) == [7.1, 7.2, 7.5, 7.4]
    assert told(mill, doubts, in_full=True).days_changed == (FIRST,)
    assert values(mill) == [7.1, 7.9, 7.5, None]
    assert content(mill)["bad"].to_list() == [True, True, False, True]


def test_a_new_tag_or_unit_is_news_of_an_old_file_and_the_rest_is_not(tmp_path):
    both = export(tmp_path, "a.csv", 7.1)
    both.write_text(both.read_text() + "2025-10-06 15:00,TI.2,100,good\n")
    mill = FakeMill(tmp_path / "x", unit_changes={"PH.1": UnitChange()})
    told(mill, both)
    told(mill, export(tmp_path, "b.csv", 7.15))
    for change, value in ((UnitChange(), 100.0), (UnitChange(2.0, 0.0), 200.0)):
        mill = FakeMill(tmp_path / "x", unit_changes={"PH.1": UnitChange(), "TI.2": change})
        result = told(mill, both)
        assert result.days_changed == (FIRST,)
        assert values(mill) == [7.15, value]
        assert told(mill, both).days_changed == ()


def test_a_day_that_was_moved_away_comes_back_with_its_exports(tmp_path):
    mill = FakeMill(tmp_path / "x")
    path = export(tmp_path, "a.csv", 7.1, 7.2)
    told(mill, path)
    before = lake_bytes(mill)
    lake = Lake(mill.lake_path)
    lake.place.delete(lake.readings_name(FIRST))
    assert told(mill, path).days_changed == (FIRST,)
    assert lake_bytes(mill) == before


def broken_parquet(path):
    path.write_bytes(b"PAR1" + b"\x00" * 200)


def cut_gzip(path):
    full = gzip.compress(as_text(long_frame()).write_csv().encode(), mtime=0)
    path.write_bytes(full[: len(full) // 2])


def ragged(path):
    path.write_text("time,tag,value\n2025-10-06 10:00,PH.1,7.4\n2025-10-06 10:01,PH.1,7.4,9,9\n")


UNREADABLE = {
    "absent": (lambda path: None, "no such export"),
    "folder": (lambda path: path.mkdir(), "folder"),
    "empty": (lambda path: path.write_bytes(b""), "empty"),
    "spreadsheet": (lambda path: path.write_bytes(b"PK\x03\x04" + b"\x00" * 99), "packed oddly"),
    "damaged Parquet": (broken_parquet, "damaged"),
    "cut gzip": (cut_gzip, "cut short"),
    "ragged": (ragged, "1 of 2 readings"),
    "no time": (lambda path: path.write_text("a,b\n1,2\n"), "No column of times"),
    "all text": (
        lambda path: path.write_text("time,tag,value\n2025-10-06 10:00,PH.1,seven\n"),
        "cannot be read",
    ),
}


@pytest.mark.parametrize("case", UNREADABLE)
def test_an_unreadable_file_stops_the_pull_and_leaves_the_lake_alone(tmp_path, reference, case):
    make, message = UNREADABLE[case]
    bad = tmp_path / "bad.csv"
    make(bad)
    good = tmp_path / "good.csv"
    as_text(long_frame(5).with_columns(pl.col("time") + timedelta(days=3))).write_csv(good)
    mill = FakeMill(tmp_path / "reference")
    with pytest.raises(DataError, match=message) as caught:
        pull_files(mill, [good, bad])
    assert str(bad) in caught.value.where
    assert caught.value.next_step
    assert {k: v for k, v in lake_bytes(mill).items() if not k.startswith("incoming/")} == reference


def test_text_that_is_not_what_the_layout_says(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes("time,tag,value,Qualität\n2025-10-06 10:00,PH.1,7.4,ä\n".encode("cp1252"))
    layout = ExportLayout(name="mine", match="*.csv")
    with pytest.raises(DataError, match="not utf-8") as caught:
        pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))
    assert "encoding" in caught.value.next_step
    layout = ExportLayout(name="mine", encoding="cp1252", value_column="reading")
    with pytest.raises(DataError, match='no column "reading"'):
        pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))


def test_what_a_stopped_pull_left_behind_is_removed(tmp_path, reference):
    mill = FakeMill(tmp_path / "reference")
    (mill.lake_path / "incoming" / "other" / "0").mkdir(parents=True)
    (mill.lake_path / "readings" / "date=2025-10-06" / "readings.parquet.part").write_bytes(b"x")
    pull_files(mill, [tmp_path / "tags.parquet"])
    assert lake_bytes(mill) == reference
    assert not (mill.lake_path / "incoming").exists()


def test_progress_tells_rows_then_days(tmp_path):
    path = tmp_path / "tags.parquet"
    long_frame().write_parquet(path)
    told = []
    pull_files(FakeMill(tmp_path / "x"), [path], lambda *step: told.append(step))
    assert told[-2:] == [("Storing 2025-10-06", 0, 2), ("Storing 2025-10-07", 1, 2)]
    assert all(what.startswith("Reading exports: 0.0 million rows") for what, *_ in told[:-2])
