"""Nights one by one leave what one backfill leaves: a short form of tests/benchmarks/nights.py."""

from datetime import date
from pathlib import Path

import nights
import polars as pl
import pytest

from pipeline.base.window import Window
from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import SEARCHED
from pipeline.pull import inbox
from pipeline.run import order
from pipeline.stages.search_results import forget, season_rows
from pipeline.stages.search_windows import SearchWindow
from pipeline.store.folders import store_of

#: By night, which days arrive: the second is late, on it the clocks of the mill go back; the fourth
#: waits for a night without a run, the fifth never comes, and the first comes again, corrected.
PLAN = {
    0: [(0, 0.0, "on time")],
    1: [],
    2: [(2, 0.0, "on time"), (1, 0.0, "late")],
    3: [(3, 0.0, "on time")],
    4: [(0, -0.3, "corrected")],
}


@pytest.mark.slow
def test_nights_one_by_one_leave_what_one_backfill_leaves(tmp_path, monkeypatch):
    monkeypatch.setattr(inbox, "PAUSE_S", 0.0)
    # Drawing takes longer than the search, and is not compared.
    for name in ("write_night_report", "write_season_report"):
        monkeypatch.setattr(order, name, lambda *_: Path("not drawn"))
    mill = nights.describe(tmp_path / "nightly")
    told = nights.nightly_season(mill, PLAN, off=range(3, 4), first=date(2025, 11, 1))
    assert list(told.seconds) == [0, 1, 2, 4]
    whole = nights.backfilled(tmp_path / "whole", told.files)
    assert store_of(whole).findings().height > 0
    assert nights.differences(mill, whole) == []
    runs = store_of(mill).runs().filter(pl.col("state") == "finished")
    assert runs.height == 3  # the second night has nothing new


def test_a_changed_day_lets_only_the_search_windows_that_see_it_be_searched_again(tmp_path):
    lake = lake_of(nights.describe(tmp_path))
    day = date(2025, 10, 6)
    for n, (first, last) in enumerate([(0, 30), (20, 60), (50, 80)]):
        when = [nights.datetime(2025, 10, 6, tzinfo=nights.UTC) + nights.timedelta(days=d)
                for d in (first, last)]  # fmt: skip
        told = pl.DataFrame({"sees_start": [when[0]], "sees_end": [when[1]]})
        lake.write_features(SEARCHED, day + n * nights.ONE_DAY, told)
    forget(lake, [day + nights.timedelta(days=25)])
    assert lake.feature_days(SEARCHED) == [day + 2 * nights.ONE_DAY]
    forget(lake, [])
    assert lake.feature_days(SEARCHED) == [day + 2 * nights.ONE_DAY]


BORDER = nights.datetime(2025, 11, 3, tzinfo=nights.UTC)


def seen_by(search_window, *findings):
    """A search window before or after the border, with findings from and to hours around it."""
    month = nights.timedelta(days=30)
    owns = (
        Window(BORDER - month, BORDER)
        if search_window == "earlier"
        else Window(BORDER, BORDER + month)
    )
    rows = [
        {
            "started": BORDER + nights.timedelta(hours=a),
            "ended": BORDER + nights.timedelta(hours=b),
            "section": section,
            "cause": "low_ph",
            "told_by": search_window,
        }
        for a, b, section in findings
    ]
    schema = None if rows else {"started": pl.Datetime("us", "UTC")}
    return SearchWindow(owns, owns, open=False), pl.DataFrame(rows, schema=schema)


@pytest.mark.parametrize(
    ("earlier", "later", "told"),
    [
        # Seen on either side of the border by one and the same: told once, by the earlier.
        ([(-1.0, 9.0)], [(0.5, 9.5)], [("earlier", -1.0)]),
        ([(0.5, 9.5)], [(-1.0, 9.0)], [("earlier", 0.5)]),
        ([(1.0, 9.0)], [(2.0, 9.0)], [("earlier", 1.0)]),
        # Without a counterpart, whoever owns the start tells it.
        ([(-3.0, 2.0)], [], [("earlier", -3.0)]),
        ([(3.0, 8.0)], [], []),
        ([], [(3.0, 8.0)], [("later", 3.0)]),
        ([], [(-3.0, 2.0)], []),
        # Two that only touch are two.
        ([(-9.0, -1.0)], [(0.5, 9.0)], [("earlier", -9.0), ("later", 0.5)]),
    ],
)
def test_a_loss_at_the_border_of_two_search_windows_is_told_once(earlier, later, told):
    parts = [
        seen_by(name, *((a, b, "settler") for a, b in spans))
        for name, spans in (("earlier", earlier), ("later", later))
    ]
    rows = season_rows(parts)
    hours = [(row["told_by"], (row["started"] - BORDER).total_seconds() / 3600.0) for row in rows]
    assert hours == told


def test_losses_in_two_vessels_at_a_border_stay_two():
    parts = [
        seen_by("earlier", (-1.0, 9.0, "settler"), (0.2, 9.0, "heater")),
        seen_by("later", (0.5, 9.0, "settler"), (0.1, 9.0, "heater")),
    ]
    assert [(r["told_by"], r["section"]) for r in season_rows(parts)] == [
        ("earlier", "settler"),
        ("earlier", "heater"),
    ]
