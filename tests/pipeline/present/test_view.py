"""Reports filled from a small store written by hand: what is chosen, and from which days."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from keeping import keep_found, keep_health, merge_day
from polars.testing import assert_frame_equal

from features.base.frames import polars_schema
from features.kinetics import RANGES, ranges
from models.cause.lab_check import DAILY_COLUMNS
from models.detect.uncalibrated import UNCALIBRATED_COLUMNS
from pipeline.base.window import Window
from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import DAILY, GRID, HEALTH, LOSSES, NOTICES, STATION, UNCALIBRATED, ZONES
from pipeline.lake.lake import Lake
from pipeline.mill.description import load_mill
from pipeline.present.gaps import hours_without_readings
from pipeline.present.night import night_view
from pipeline.present.plausible import beyond_of
from pipeline.present.view import latest_run, view_of
from pipeline.present.week import week_view
from pipeline.stages import search_results
from pipeline.stages.search_windows import SearchWindow
from pipeline.store.folders import store_of
from pipeline.store.tables import table_schema

ROOT = Path(__file__).resolve().parents[3]
#: Monday 6 October begins at 05:00 UTC at this mill (tz database: CDT is UTC-5).
START = datetime(2025, 10, 6, 5, tzinfo=UTC)
END = START + timedelta(days=2, hours=4, minutes=58)


def minutes_of(day: date) -> list[datetime]:
    first = datetime.combine(day, datetime.min.time(), tzinfo=UTC)
    times = [first + timedelta(minutes=n) for n in range(1440)]
    return [t for t in times if START <= t < END]


def write_day(lake, day: date) -> None:
    times = pl.Series("ts_utc", minutes_of(day), dtype=pl.Datetime("us", "UTC"))
    station = pl.DataFrame({"ts_utc": times}).with_columns(
        sucrose_feed_kg_h=pl.lit(30_000.0),
        flow_feed_m3_h=pl.lit(265.0),
        ph_limed=pl.lit(7.5),
        ph_clear=pl.lit(6.95),
        ph_limed_at_clear=pl.lit(7.55),
        stopped=pl.lit(value=False),
        brix_feed_pct=pl.lit(14.5),
        flocculant_l_h=pl.lit(900.0),
        turbidity_clear=pl.lit(25.0),
    )
    zones = pl.DataFrame({"ts_utc": times}).with_columns(
        zone=pl.lit("settler"),
        temp_degc=pl.lit(97.5),
        residence_min=pl.lit(80.0),
        loss_kg_h=pl.lit(40.0),
        loss_ref_kg_h=pl.lit(35.0),
        flow_out_m3_h=pl.lit(237.5),
        brix_pct=pl.lit(14.5),
        ph_hot=pl.lit(6.6),
        ph_cold=pl.lit(7.05),
        rs_destroyed_kg_h=pl.lit(12.0),
        sucrose_held_kg=pl.lit(30_000.0),
        volume_m3=pl.lit(340.0),
    )
    losses = pl.DataFrame({"ts_utc": times}).with_columns(
        loss_kg_h=pl.lit(90.0),
        unavoidable_kg_h=pl.lit(60.0),
        level_log_sd=pl.lit(0.2),
        ph_sd=pl.lit(0.045),
        ph_memory_h=pl.lit(8.0),
        excess_kg_h=pl.lit(30.0),
        ph_limed_true=pl.lit(7.5),
        ph_clear_true=pl.lit(6.95),
        measured=pl.lit(value=True),
    )
    notices = pl.DataFrame(
        schema={
            "started": pl.Datetime("us", "UTC"),
            "ended": pl.Datetime("us", "UTC"),
            "kind": pl.String,
            "text": pl.String,
        }
    )
    health = pl.DataFrame({"tag": ["LT.AI212"], "reason": ["good"], "readings": [1000]})
    frames = {STATION: station, ZONES: zones, LOSSES: losses, NOTICES: notices, HEALTH: health}
    for kind, frame in frames.items():
        lake.write_features(kind, day, frame)


def daily(day: date, fed: float) -> pl.DataFrame:
    return pl.DataFrame(
        [(day, fed, 1.0, 1.1, 0.4, 0.1, 0.9, 8)], schema=polars_schema(DAILY_COLUMNS), orient="row"
    )


def readings(tag: str, last: datetime) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "ts_utc": [last - timedelta(minutes=5 * n) for n in range(3)],
            "tag": [tag] * 3,
            "value": [7.0] * 3,
            "bad": [False] * 3,
            "reason": [None] * 3,
        },
        schema_overrides={"ts_utc": pl.Datetime("us", "UTC"), "reason": pl.String},
    )


def run(run_id: str, as_of: datetime) -> dict:
    return {
        "run_id": run_id,
        "flow": "nightly",
        "window_start": START,
        "window_end": as_of,
        "as_of": as_of,
        "config_hash": "c",
        "inputs_hash": "i",
        "versions": {"lostpol": "0.1.0"},
        "minutes": 10,
        "findings": 1,
        "multiplier": 1.5,
        "multiplier_low": 1.2,
        "multiplier_high": 1.9,
        "multiplier_pairs": 40,
        "started_at": as_of + timedelta(minutes=2),
        "finished_at": as_of + timedelta(minutes=2, seconds=9),
        "state": "finished",
    }


def found(cause: str, hours: tuple[float, float], status: str = "ended") -> dict:
    return {
        "section": "settler",
        "started": START + timedelta(hours=hours[0]),
        "ended": START + timedelta(hours=hours[1]),
        "cause": cause,
        "lost_t": 0.5,
        "lost_t_low": 0.3,
        "lost_t_high": 0.9,
        "lost_pct": 0.2,
        "value": 260.0,
        "currency": "USD",
        "confidence": 0.8,
        "status": status,
        "evidence": "{}",
    }


def sensor(day: date, tag: str, verdict: str, text: str) -> dict:
    blank = {n: 0 for n, kind in table_schema("sensor_health").items() if kind.is_numeric()}
    named = {"mill": "brindlewater", "day": day, "tag": tag, "quantity": "ph", "place": "x"}
    return blank | named | {"verdict": verdict, "text": text}


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    mill = load_mill(ROOT / "configs" / "demo_mill.toml").with_store(tmp_path_factory.mktemp("s"))
    lake, store = lake_of(mill), store_of(mill)
    for day in (date(2025, 10, 6), date(2025, 10, 7), date(2025, 10, 8)):
        write_day(lake, day)
        lake.write_features(DAILY, day, daily(day, 700.0))
        merge_day(lake, day, readings("LT.AI212", minutes_of(day)[-1]))
    late = END - timedelta(hours=3)
    merge_day(lake, date(2025, 10, 8), readings("ST.TI304", late))
    window, before = (START, END), END - timedelta(days=1)
    # The run of the day before knew three losses; tonight's keeps one, finds one late and one new.
    first = [found("overheating", (2, 6)), found("mud_held", (8, 12)), found("tank_held", (20, 26))]
    keep_found(store, first, window=(START, before), as_of=before, run_id="r-1")
    store.record_run(run("r-1", before))
    second = [first[0], first[2], found("low_limed_ph", (14, 17)), found("unexplained", (40, 44))]
    keep_found(store, second, window=window, as_of=END, run_id="r-2")
    store.record_run(run("r-2", END))
    rows = [
        sensor(date(2025, 10, 6), "LT.AI212", "watch", "silent for 5.0 h"),
        sensor(date(2025, 10, 7), "ST.AI308", "sick", "reads 0.4 high"),
        sensor(date(2025, 10, 8), "LT.AI212", "sick", "silent for 14.0 h"),
    ]
    keep_health(store, pl.DataFrame(rows, schema=table_schema("sensor_health")))
    return mill


@pytest.fixture(scope="module")
def night(mill):
    return night_view(mill, Window(START + timedelta(days=1), END))


def test_the_night_holds_its_own_late_and_taken_back_findings(night):
    # Overheating of Monday morning was told yesterday and is over; it is not told again.
    told = dict(night.report.findings.select("cause", "status").rows())
    assert told == {
        "tank_held": "ended",
        "low_limed_ph": "ended",
        "unexplained": "ended",
        "mud_held": "withdrawn",
    }
    assert night.known.height == 5


def test_the_day_and_the_runs_are_those_of_the_data(night):
    assert night.day == date(2025, 10, 7)
    assert night.day_minutes == 1440
    assert night.run.previous_end == END - timedelta(days=1)
    assert night.run.took_s == 9.0
    sums = night.report.season.filter(pl.col("day_local") == night.day).row(0, named=True)
    # 24 h at 30 kg/h above 60 kg/h.
    assert sums["excess_t"] == pytest.approx(0.72)
    assert sums["unavoidable_t"] == pytest.approx(1.44)
    assert (sums["minutes"], sums["measured"]) == (1440, 1440)


def test_edges_of_the_data_do_not_make_sensors_ill_but_silence_now_does(night):
    rows = {row["tag"]: row["text"] for row in night.report.sensors.to_dicts()}
    # The last reading was at 06:58 UTC, that is 01:58 in Chicago.
    assert rows == {"ST.TI304": "no reading since 2025-10-08 01:58", "ST.AI308": "reads 0.4 high"}


def test_a_first_run_has_nothing_before_it(mill):
    bounds = Window(START, END)
    everything = view_of(mill, bounds)
    assert everything.sensors["tag"].to_list() == ["ST.AI308"]
    assert everything.verdicts.height == 0


def test_the_week_is_filled_from_the_same_store(mill):
    view = week_view(mill, Window(START, START + timedelta(days=2)))
    assert (view.first, view.last) == (date(2025, 10, 6), date(2025, 10, 7))
    assert view.report.lacking() == []
    assert view.report.balance["day"].to_list() == [date(2025, 10, 6), date(2025, 10, 7)]
    morning = view.shifts.filter((pl.col("day") == date(2025, 10, 7)) & (pl.col("order") == 0))
    # Eight hours at 30 kg/h.
    assert morning["excess_t"].to_list() == [pytest.approx(0.24)]
    night = view.shifts.filter((pl.col("day") == date(2025, 10, 7)) & (pl.col("order") == 2))
    # The night runs from 22:00 to the end of data at 04:58: 418 minutes.
    assert night["minutes"].to_list() == [418]
    # 237.5 m3/h over the settler's 95 m2.
    assert view.settling["overflow_m_h"].to_list() == [pytest.approx(2.5)] * 2
    assert view.minutes is None
    assert "only 53 h" in view.own.reason  # to the end of data
    assert view.crossing.volume_m3 is None  # pH stands still: nothing crosses
    # 90 of 30,000 kg/h, all of it in the settler, and 12 kg/h of 4 % of 30 t.
    assert view.plausible.inverted_pct == pytest.approx(0.3)
    assert view.plausible.ph_fall == pytest.approx(0.6)
    assert view.plausible.destroyed_pct_h == pytest.approx(1.0)
    assert view.report.beyond.is_empty()


def test_juice_outside_the_ranges_is_counted_in_the_period_alone(mill, monkeypatch):
    narrow = tuple(replace(r, low=98.0) if r.column == "temp_degc" else r for r in RANGES)
    monkeypatch.setattr(ranges, "RANGES", narrow)
    hours = Window(START, START + timedelta(hours=30))
    found = beyond_of(mill, hours).filter(pl.col("formula") == "inversion of sucrose")
    # The settler at 97.5 degC, every minute of 30 h, over two UTC days.
    assert (found["minutes"].to_list(), found["seen_low"].to_list()) == ([1800], [97.5])
    assert beyond_of(mill, Window(END + timedelta(days=9), END + timedelta(days=10))) is None


def test_every_report_says_when_the_level_is_the_descriptions(mill, monkeypatch):
    whole, known = Window(START, END), latest_run(mill)
    assert view_of(mill, whole).multiplier.beware == ""
    assert any(gap.what == "Level of the loss" for gap in view_of(mill, whole).not_computed)
    bare = {"multiplier_low": 0.56, "multiplier_high": 4.02, "multiplier_pairs": 0}
    for module in ("view", "night", "week"):
        monkeypatch.setattr(f"pipeline.present.{module}.latest_run", lambda _: known | bare)
    night = night_view(mill, Window(START + timedelta(days=1), END)).report
    week = week_view(mill, Window(START, START + timedelta(days=2))).report
    for report in (view_of(mill, whole), night, week):
        assert "off by a factor of 2.7 either way" in report.multiplier.beware
        assert not any(gap.what == "Level of the loss" for gap in report.not_computed)


def test_a_search_window_tells_only_of_the_local_days_that_begin_in_it(mill):
    lake = lake_of(mill)
    new = pl.concat([daily(date(2025, 10, 6), 1.0), daily(date(2025, 10, 7), 2.0)])
    before = lake.read_features(DAILY, date(2025, 10, 6), date(2025, 10, 6))
    owns = Window(START + timedelta(hours=6), END)
    search_window = SearchWindow(owns, Window(START, END), open=True)
    search_results._keep_daily(mill, lake, search_window, new)
    kept = lake.read_features(DAILY, date(2025, 10, 6), date(2025, 10, 7))
    assert kept["sucrose_fed_t"].to_list() == [before["sucrose_fed_t"][0], 2.0]


def test_a_day_on_both_sides_of_a_border_is_summed_once(mill, tmp_path, monkeypatch):
    lake, border = lake_of(mill), START + timedelta(hours=30)
    whole = Window(START, END)
    parts = [
        SearchWindow(owns, whole, open=False)
        for owns in (Window(START, border), Window(border, END))
    ]
    losses = lake.read_features(LOSSES, *whole.days)
    monkeypatch.setattr(search_results, "plan", lambda *_: parts)
    at_once = search_results.season_days(mill, lake)
    assert at_once["minutes"].to_list() == [1440, 1440, 298]  # every minute once, by local day
    assert at_once["sucrose_fed_t"][0] == pytest.approx(30.0 * 24)
    other = Lake(tmp_path)
    for day in lake.feature_days(STATION):
        other.write_features(STATION, day, lake.read_features(STATION, day, day))
    for part in parts:  # what a search keeps: it saw the other side of the border, too
        sums = search_results._sums(mill, other, part, losses)
        other.write_features(search_results.SUMS, part.day, sums)
    assert_frame_equal(search_results.season_days(mill, other), at_once)


def test_channels_that_cannot_be_calibrated_stand_in_the_reports_of_their_weeks(mill, monkeypatch):
    lake, border = lake_of(mill), START + timedelta(hours=30)
    whole = Window(START, END)
    parts = [
        SearchWindow(owns, whole, open=False)
        for owns in (Window(START, border), Window(border, END))
    ]
    monkeypatch.setattr(search_results, "plan", lambda *_: parts)
    told = pl.DataFrame(
        [("heat", "settler", "periods")], schema=polars_schema(UNCALIBRATED_COLUMNS), orient="row"
    )
    lake.write_features(UNCALIBRATED, parts[1].day, told)

    def lines(period):
        return [g.what for g in view_of(mill, period).not_computed if "chance" in g.what]

    assert lines(whole) == ["How often chance alone makes a loss by higher temperature (settler)"]
    # The first part of the season never said it: searched before it was kept.
    assert lines(Window(START, border)) == []


def test_a_fix_brings_the_minutes_around_it(mill):
    store = store_of(mill)
    row = store.findings().filter(pl.col("cause") == "overheating").row(0, named=True)
    copied = ("finding_id", "section", "cause", "started", "ended", "lost_t")
    said = {"verdict": "fixed", "note": "n", "author": "a", "given_at": END, "found_cause": None}
    store.record_verdict({name: row[name] for name in copied} | said)
    view = week_view(mill, Window(START, START + timedelta(days=2)))
    assert view.minutes["excess_kg_h"].len() > 2000
    assert view.report.verdicts["verdict"].to_list() == ["fixed"]


def test_hours_in_which_no_tag_was_read_are_named_and_single_tags_are_not(mill, tmp_path):
    mine = replace(mill, store_path=tmp_path / "store")
    lake = lake_of(mine)
    one, two = (s.name for s in mine.station.signals[:2])
    day = date(2025, 10, 6)
    ts = [datetime(2025, 10, 6, tzinfo=UTC) + timedelta(minutes=n) for n in range(2 * 1440)]
    grid = pl.DataFrame({"ts_utc": ts, "n": range(2880)}).with_columns(
        # Nobody from 06:00 to the next day's 02:30, nor for 50 minutes from 05:00 on the second.
        pl.when(~pl.col("n").is_between(360, 1589) & ~pl.col("n").is_between(1740, 1789))
        .then(1.0)
        .alias(one),
        pl.lit(None, pl.Float64).alias(two),
        purity_mixed_juice_pct=pl.lit(84.0),
    )
    for n in range(2):
        of_day = pl.col("ts_utc").dt.date() == day + timedelta(days=n)
        lake.write_features(GRID, day + timedelta(days=n), grid.filter(of_day).drop("n"))
    (gap,) = hours_without_readings(mine, Window(ts[0], ts[-1]))
    # Six in the morning UTC is one in the morning of Chicago (CDT, UTC-5: tz database).
    assert gap.why.startswith("Mon 6 Oct 2025 01:00 to 21:30 (20.5 h). No tag of the station")
    assert hours_without_readings(mine, Window(ts[1600], ts[-1])) == []
    # A second instrument that goes on reading is followed by nobody.
    first = next(s for s in mine.station.signals if s.quantity == "ph")
    second = replace(first, tag="SECOND", beside=first.tag)
    station = replace(mine.station, signals=(*mine.station.signals, second))
    for n in range(2):
        of_day = pl.col("ts_utc").dt.date() == day + timedelta(days=n)
        told = grid.filter(of_day).drop("n").with_columns(pl.lit(6.9).alias(second.name))
        lake.write_features(GRID, day + timedelta(days=n), told)
    assert hours_without_readings(replace(mine, station=station), Window(ts[0], ts[-1])) == [gap]
