"""The lake: whole days, same bytes, nothing half-written, no order of import in the result."""

from __future__ import annotations

import os
import random
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keeping import merge_day

from pipeline.base.errors import DataError
from pipeline.lake import stored
from pipeline.lake.lake import Lake
from pipeline.lake.merge import READINGS_SCHEMA, conform, import_readings, merge_readings

DAY = date(2025, 10, 6)
NOON = datetime(2025, 10, 6, 12, tzinfo=UTC)


def readings(rows):
    """Rows of (seconds after noon, tag, value, reason)."""
    return pl.DataFrame(
        [(NOON + timedelta(seconds=s), tag, v, r is not None, r) for s, tag, v, r in rows],
        schema=READINGS_SCHEMA,
        orient="row",
    )


SOME = readings([(0, "A", 1.0, None), (10, "A", 2.0, None), (0, "B", None, "n.d.")])


def day_file(lake):
    return lake.root / "readings" / "date=2025-10-06" / "readings.parquet"


def test_a_day_comes_back_sorted_by_tag_and_time(tmp_path):
    lake = Lake(tmp_path / "lake")
    assert lake.days() == []
    assert merge_day(lake, DAY, SOME.reverse())[1] is True
    assert lake.days() == [DAY]
    assert lake.read_readings(DAY, DAY).equals(SOME)
    assert lake.read_readings(DAY, DAY, tags=["B"]).equals(SOME.filter(pl.col("tag") == "B"))
    assert lake.read_readings(DAY + timedelta(1), DAY + timedelta(9)).equals(SOME.clear())


def test_the_same_readings_again_write_nothing(tmp_path):
    lake = Lake(tmp_path)
    merge_day(lake, DAY, SOME)
    before = day_file(lake).stat()
    assert merge_day(lake, DAY, SOME.sample(fraction=1.0, shuffle=True, seed=1))[1] is False
    assert day_file(lake).stat().st_mtime_ns == before.st_mtime_ns
    assert day_file(lake).stat().st_ino == before.st_ino


def test_counts_add_up_for_each_source(tmp_path):
    more = readings([(10, "A", 2.0, None), (20, "A", 3.0, None), (20, "A", 3.0, None)])
    (first, second), changed = merge_day(Lake(tmp_path), DAY, SOME, more)
    assert changed
    assert (first.kept, first.merged, first.conflicts) == (3, 0, 0)
    assert (second.kept, second.merged, second.conflicts) == (1, 2, 0)


@pytest.mark.parametrize(
    ("rivals", "survivor", "conflicts"),
    [
        ([(5.0, "bad_quality"), (4.0, None)], (4.0, None), 0),
        ([(None, "n.d."), (5.0, "bad_quality")], (5.0, "bad_quality"), 0),
        ([(7.48, None), (7.4812, None)], (7.4812, None), 1),
        ([(7.49, None), (7.4812, None)], (7.4812, None), 1),
        ([(3.0, None), (4.0, None)], (4.0, None), 1),
        ([(-0.0, None), (0.0, None)], (0.0, None), 0),
        ([(None, "a"), (None, "b")], (None, "b"), 0),
    ],
)
def test_which_of_two_readings_of_one_export_stays(rivals, survivor, conflicts):
    for order in (rivals, rivals[::-1]):
        both = conform(readings([(0, "A", v, r) for v, r in order]))
        frame, count = merge_readings(READINGS_SCHEMA.to_frame(), both)
        assert frame.select("value", "reason").rows() == [survivor]
        assert (count.kept, count.merged, count.conflicts) == (1, 1, conflicts)


@pytest.mark.parametrize(
    ("stored", "later", "survivor", "conflicts", "good_stays"),
    [
        ((4.0, None), (3.0, None), (3.0, None), 1, 0),
        ((7.4812, None), (7.48, None), (7.48, None), 1, 0),
        ((4.0, None), (4.0, None), (4.0, None), 0, 0),
        ((4.0, None), (4.0, "bad_quality"), (4.0, None), 0, 1),
        ((4.0, None), (None, "n.d."), (4.0, None), 0, 1),
        ((4.0, "uncertain"), (3.0, None), (3.0, None), 0, 0),
        ((4.0, "uncertain"), (3.0, "bad_quality"), (3.0, "bad_quality"), 0, 0),
        ((4.0, "uncertain"), (None, "n.d."), (4.0, "uncertain"), 0, 0),
        ((None, "b"), (None, "a"), (None, "a"), 0, 0),
    ],
)
def test_the_last_import_wins_unless_it_says_less(
    tmp_path, stored, later, survivor, conflicts, good_stays
):
    lake = Lake(tmp_path)
    merge_day(lake, DAY, SOME)
    merge_day(lake, DAY, readings([(0, "C", *stored)]))
    later_frame = readings([(0, "C", *later)])
    (count,), changed = merge_day(lake, DAY, later_frame)
    assert lake.read_readings(DAY, DAY)[-1].select("value", "reason").rows() == [survivor]
    assert changed == (survivor != stored)
    assert (count.kept, count.merged) == (0, 1)
    assert (count.conflicts, count.good_stays) == (conflicts, good_stays)
    assert lake.read_readings(DAY, DAY)[:-1].equals(SOME)
    # What a file said before is no news, and in full it replaces whatever there is.
    was = readings([(0, "C", *stored)])
    frame, _ = import_readings(was, later_frame, {"C"})
    assert frame.equals(later_frame if stored[1] and later[1] is None else was)
    frame, count = import_readings(was, later_frame, {"C"}, in_full=True)
    assert frame.equals(later_frame)
    assert count.good_stays == 0


ROW = st.tuples(
    st.integers(0, 3),
    st.sampled_from("AB"),
    st.sampled_from([None, 0.0, 1.0, 1.25, 7.0]),
    st.sampled_from([None, "x", "y"]),
).map(lambda r: r if r[2] is not None or r[3] else (*r[:3], "n.d."))


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(rows=st.lists(ROW, min_size=1, max_size=20), data=st.data())
def test_neither_order_nor_split_nor_repetition_shows_in_the_result(rows, data):
    whole, _ = merge_readings(READINGS_SCHEMA.to_frame(), conform(readings(rows)))
    shuffled = data.draw(st.permutations(rows + rows[: len(rows) // 2]))
    cut = data.draw(st.integers(0, len(shuffled)))
    pieces = READINGS_SCHEMA.to_frame()
    for part in (shuffled[:cut], shuffled[cut:]):
        pieces, _ = merge_readings(pieces, conform(readings(part)))
    assert pieces.equals(whole)
    assert whole.select("tag", "ts_utc").is_unique().all()


def worth(row):
    return (row["reason"] is None) + (row["value"] is not None)


@pytest.mark.slow
@settings(max_examples=120, deadline=None)
@given(
    stored=st.lists(ROW, max_size=12),
    new=st.lists(ROW, max_size=12),
    said=st.sets(st.sampled_from("AB")),
    in_full=st.booleans(),
)
def test_an_import_says_of_every_moment_what_the_rule_says(stored, new, said, in_full):
    """Moment by moment in plain Python; tags B and C occur on one side only."""
    stored = [(s, "C" if tag == "B" else tag, v, r) for s, tag, v, r in stored]
    old, _ = merge_readings(READINGS_SCHEMA.to_frame(), conform(readings(stored)))
    single, _ = merge_readings(READINGS_SCHEMA.to_frame(), conform(readings(new)))
    expected = {(r["tag"], r["ts_utc"]): r for r in old.to_dicts()}
    for row in single.to_dicts():
        key = row["tag"], row["ts_utc"]
        was = expected.get(key)
        least = 3 if was is None else worth(was) + (row["tag"] in said)
        if was is None or in_full or worth(row) >= least:
            expected[key] = row
    frame, count = import_readings(old, conform(readings(new)), said, in_full=in_full)
    assert frame.to_dicts() == [expected[key] for key in sorted(expected)]
    assert count.kept == len(expected) - old.height
    assert count.kept + count.merged == len(new)


def test_seven_overlapping_pieces_in_any_order_give_the_same_bytes(tmp_path):
    rng = random.Random(3)
    rows = [
        (s, tag, round(rng.gauss(70, 5), 3), "bad_quality" if rng.random() < 0.05 else None)
        for tag in "ABC"
        for s in range(0, 3000, 10)
    ]
    bytes_seen = set()
    for attempt in range(4):
        lake = Lake(tmp_path / str(attempt))
        pieces = [[] for _ in range(7)]
        for row in rows:
            for k in rng.sample(range(7), rng.randint(1, 3)):
                pieces[k].append(row)
        for piece in pieces:
            rng.shuffle(piece)
            if piece:
                merge_day(lake, DAY, readings(piece))
        bytes_seen.add(day_file(lake).read_bytes())
    assert len(bytes_seen) == 1


def test_a_stop_between_writing_and_replacing_leaves_the_old_day(tmp_path, monkeypatch):
    lake = Lake(tmp_path)
    merge_day(lake, DAY, SOME)
    before = day_file(lake).read_bytes()

    def stopped(self, target):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", stopped)
        with pytest.raises(KeyboardInterrupt):
            merge_day(lake, DAY, readings([(99, "A", 9.0, None)]))
    assert day_file(lake).read_bytes() == before
    assert lake.read_readings(DAY, DAY).equals(SOME)
    assert lake.clean_leftovers() == 1
    assert lake.clean_leftovers() == 0
    assert merge_day(lake, DAY, readings([(99, "A", 9.0, None)]))[1]
    assert lake.read_readings(DAY, DAY).height == 4


def test_features_are_replaced_whole_and_only_when_they_differ(tmp_path):
    lake = Lake(tmp_path)
    one = pl.DataFrame({"ts_utc": [NOON], "loss_kg_h": [1.0]})
    assert lake.write_features("zone_minutes", DAY, one) is True
    assert lake.write_features("zone_minutes", DAY, one) is False
    wider = one.with_columns(f_ph=pl.lit(2.0))
    assert lake.write_features("zone_minutes", DAY + timedelta(1), wider) is True
    got = lake.read_features("zone_minutes", DAY, DAY + timedelta(1))
    assert got["f_ph"].to_list() == [None, 2.0]
    assert lake.feature_days("zone_minutes") == [DAY, DAY + timedelta(1)]
    assert lake.read_features("zone_minutes", DAY + timedelta(5), DAY + timedelta(6)).is_empty()


def test_some_columns_come_alone_and_those_that_are_not_there_are_left_out(tmp_path):
    lake = Lake(tmp_path)
    one = pl.DataFrame({"ts_utc": [NOON], "loss_kg_h": [1.0], "f_ph": [2.0]})
    lake.write_features("zones", DAY, one)
    lake.write_features("zones", DAY + timedelta(2), one.drop("f_ph"))
    got = lake.read_features("zones", DAY, DAY + timedelta(2), ("f_ph", "ts_utc", "nowhere"))
    assert got.to_dict(as_series=False) == {"f_ph": [2.0, None], "ts_utc": [NOON, NOON]}
    far = lake.read_features("zones", date(2000, 1, 1), date(2100, 1, 1), ("ts_utc",))
    assert far.height == 2


@pytest.mark.parametrize("keep", [True, False])
def test_some_tags_of_several_days_come_by_tag_and_time(tmp_path, keep):
    lake = Lake(tmp_path)
    later = SOME.with_columns(pl.col("ts_utc") + timedelta(days=1))
    for frame, day in ((SOME, DAY), (later, DAY + timedelta(1))):
        merge_day(lake, day, frame)
    both = lake.read_readings(DAY, DAY + timedelta(1), ["A", "Z"], keep=keep)
    expected = pl.concat([SOME, later]).filter(pl.col("tag") == "A").sort("tag", "ts_utc")
    assert both.equals(expected)
    assert lake.read_readings(DAY, DAY, ["Z"], keep=keep).equals(SOME.clear())


@pytest.mark.parametrize("kind", ["../out", "a/b", "", "Up", "a" * 80])
def test_kinds_that_could_leave_the_root_are_refused(tmp_path, kind):
    with pytest.raises(ValueError, match="kind of features"):
        Lake(tmp_path).write_features(kind, DAY, pl.DataFrame({"a": [1]}))


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_a_link_that_leaves_the_root_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "lake").mkdir()
    (tmp_path / "lake" / "readings").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(DataError, match="leads out of the store"):
        merge_day(Lake(tmp_path / "lake"), DAY, SOME)
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_damaged_day_says_which_file_and_what_to_do(tmp_path):
    lake = Lake(tmp_path)
    merge_day(lake, DAY, SOME)
    day_file(lake).write_bytes(b"PAR1 no more")
    with pytest.raises(DataError) as caught:
        lake.read_readings(DAY, DAY)
    assert "date=2025-10-06" in caught.value.where
    assert "import" in caught.value.next_step
    SOME.rename({"value": "other"}).write_parquet(day_file(lake))
    with pytest.raises(DataError, match="other"):
        merge_day(lake, DAY, SOME)


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        (SOME.drop("reason"), "lack the columns reason"),
        (SOME.with_columns(bad=pl.lit(value=False)), "break the rules"),
        (SOME.with_columns(value=pl.lit(float("nan"))), "break the rules"),
        (SOME.with_columns(ts_utc=pl.col("ts_utc") + timedelta(days=1)), "are not of 2025-10-06"),
    ],
)
def test_frames_that_break_the_rules_never_reach_the_disk(tmp_path, frame, message):
    lake = Lake(tmp_path)
    with pytest.raises(ValueError, match=message):
        merge_day(lake, DAY, frame)
    assert lake.days() == []


def test_the_hash_of_a_span_hangs_on_each_of_its_days_and_on_no_other(tmp_path):
    lake = Lake(tmp_path)
    span = [DAY + timedelta(n) for n in range(4)]
    for n, day in enumerate(span):
        merge_day(lake, day, SOME.with_columns(pl.col("ts_utc") + timedelta(days=n)))
    before = lake.readings_hash(span[1], span[2])
    assert lake.readings_hash(span[1], span[2]) == before
    for n, day in enumerate(span):
        more = readings([(3600, "A", 5.0, None)]).with_columns(pl.col("ts_utc") + timedelta(days=n))
        merge_day(lake, day, more)
        now = lake.readings_hash(span[1], span[2])
        assert (now != before) == (n in (1, 2))
        before = now


def test_a_span_of_years_holds_its_first_and_last_day(tmp_path):
    lake = Lake(tmp_path)
    for days in (-1500, -700, 0):
        merge_day(
            lake, DAY + timedelta(days), SOME.with_columns(pl.col("ts_utc") + timedelta(days))
        )
    assert lake.read_readings(DAY - timedelta(1500), DAY).height == 3 * SOME.height
    assert lake.read_readings(DAY - timedelta(1499), DAY - timedelta(1)).height == SOME.height


def test_features_that_changed_are_written_whatever_their_form(tmp_path):
    lake = Lake(tmp_path)
    one = pl.DataFrame({"ts_utc": [NOON], "loss_kg_h": [1.0]})
    lake.write_features("zones", DAY, one)
    other = one.with_columns(loss_kg_h=pl.lit(2.0))
    assert lake.write_features("zones", DAY, other) is True
    assert lake.read_features("zones", DAY, DAY).equals(other)


def test_a_replaced_day_is_seen_even_within_one_tick_of_the_clock(tmp_path):
    """As long as the one before, and of the same time: clocks of disks may tick in seconds."""
    lake = Lake(tmp_path)
    merge_day(lake, DAY, SOME)
    assert lake.read_readings(DAY, DAY, keep=True).equals(SOME)
    facts = day_file(lake).stat()
    other = SOME.with_columns(value=pl.col("value") * 4.0)
    merge_day(lake, DAY, other)
    os.utime(day_file(lake), ns=(facts.st_atime_ns, facts.st_mtime_ns))
    assert day_file(lake).stat().st_size == facts.st_size
    assert lake.read_readings(DAY, DAY, keep=True).equals(other)


def lake_of_days(tmp_path, count=5):
    lake, days = Lake(tmp_path / "lake"), [DAY + timedelta(n) for n in range(count)]
    for n, day in enumerate(days):
        merge_day(lake, day, SOME.with_columns(pl.col("ts_utc") + timedelta(n)))
    return lake, days


@pytest.mark.parametrize("tags", [["B"], ["B", "A", "no such tag"], ["no such tag"]])
@pytest.mark.parametrize("together", [2, 64])
def test_some_tags_of_many_days_are_read_together_as_one_by_one(
    tmp_path, monkeypatch, tags, together
):
    lake, days = lake_of_days(tmp_path)
    parts = lake.readings_by_tag(days[0], days[-1], tags)
    expected = pl.concat([READINGS_SCHEMA.to_frame(), *parts.values()])
    scans, real = [], pl.scan_parquet
    monkeypatch.setattr(stored, "_TOGETHER", together)
    monkeypatch.setattr(pl, "scan_parquet", lambda files: scans.append(len(files)) or real(files))
    found = lake.read_readings(days[0], days[-1] + timedelta(9), tags)
    assert found.equals(expected)
    assert found.schema == READINGS_SCHEMA
    assert scans == ([2, 2, 1] if together == 2 else [5])


@pytest.mark.parametrize(
    ("damage", "how"),
    [
        (lambda file: file.write_bytes(b"nonsense"), "2025-10-08"),
        (lambda file: pl.DataFrame({"tag": ["A"]}).write_parquet(file), "its columns are tag"),
        (
            lambda file: SOME.with_columns(more=1).write_parquet(file),
            "its columns are ts_utc, tag, value, bad, reason, more",
        ),
    ],
)
def test_a_damaged_day_among_many_is_named_where_some_tags_are_read(tmp_path, damage, how):
    lake, days = lake_of_days(tmp_path)
    damage(lake.root / "readings" / "date=2025-10-08" / "readings.parquet")
    with pytest.raises(DataError) as caught:
        lake.read_readings(days[0], days[-1], ["A"])
    assert how in str(caught.value)
    assert "date=2025-10-08" in str(caught.value)
