"""The nightly report, filled from the store and the lake alone."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import polars as pl

from pipeline.base import ONE_DAY, Window
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.present.first_lever import first_lever_words
from pipeline.present.plausible import plausible
from pipeline.present.tongues import in_every_language
from pipeline.present.view import latest_run, report_path, run_log_sd, view_of
from pipeline.report import Gap, NightView, RunHealth, write_night
from pipeline.store import published_store_of
from pipeline.words import figure, joined, said

_STAGES: Final = {"pull": said("reading"), "derive": said("working out"), "detect": said("search")}
_KINDS: Final = {"minutes": said("minutes"), "rows": said("rows"), "readings": said("readings")}
#: A tag without a reading for this long before the end of data is silent now.
_SILENT: Final = timedelta(hours=1)


def write_night_report(mill: Mill, period: Window, gaps: Iterable[Gap] = ()) -> Path:
    """Write the nightly report into the mill's store.

    Parameters
    ----------
    period : Window
        From the start of the local day that is reported to the end of data.
    gaps
        As for `pipeline.present.view.write_season_report`.

    Returns
    -------
    Path
        The HTML file; PDF and text lie beside it, and the same in other languages of readers.
    """
    out = report_path(mill, period, "nightly.html")
    with published_store_of(mill).held():
        view = night_view(mill, period, tuple(gaps))
    return in_every_language(mill, out, view, write_night)


def night_view(mill: Mill, period: Window, gaps: tuple[Gap, ...] = ()) -> NightView:
    """Fill the view of one night."""
    run = latest_run(mill)
    health = run_health(mill, run)
    known = published_store_of(mill).findings(withdrawn=True)
    tonight = known.filter(_of_night(period, run, health))
    day = mill.last_day_over(period.end)
    start, end = mill.day_span_utc(day, day)
    report = view_of(mill, period, gaps, found=tonight)
    report = replace(report, sensors=_sensors_now(mill, report.sensors, period))
    return NightView(
        report=report,
        day=day,
        day_minutes=(end - start) // timedelta(minutes=1),
        known=known,
        run=health,
        plausible=plausible(mill, start, end, report.lab, run_log_sd(run)),
        lever=first_lever_words(mill, period.end - timedelta(microseconds=1)),
    )


def _of_night(period: Window, run: dict[str, Any], health: RunHealth) -> pl.Expr:
    """Findings of the period, found only now, or taken back by this run."""
    inside = (pl.col("started") < period.end) & (pl.col("ended") > period.start)
    stands = pl.col("status") != "withdrawn"
    taken_back = (pl.col("status") == "withdrawn") & (pl.col("run_id") == run["run_id"])
    if health.previous_end is None or health.previous_end >= health.data_end:
        return (inside & stands) | taken_back
    return ((inside | (pl.col("first_seen") == health.data_end)) & stands) | taken_back


def run_health(mill: Mill, run: dict[str, Any]) -> RunHealth:
    """How the last finished run went."""
    runs = published_store_of(mill).runs().filter(pl.col("state") == "finished")
    earlier = runs.filter(pl.col("as_of") < run["as_of"])["as_of"].max()
    took = None
    if run["finished_at"] is not None:
        took = (run["finished_at"] - run["started_at"]).total_seconds()
    return RunHealth(
        run_id=run["run_id"],
        took_s=took,
        finished=run["finished_at"],
        data_end=run["as_of"],
        window=(run["window_start"], run["window_end"]),
        previous_end=earlier if isinstance(earlier, datetime) else None,
        version=json.loads(run["versions"]).get("lostpol", "unknown"),
        config_hash=run["config_hash"],
        stages=_stage_words(mill, run["run_id"]),
    )


def _stage_words(mill: Mill, run_id: str) -> str:
    """How long the stages before the report took, in its latest attempt."""
    rows = published_store_of(mill).stages().filter(pl.col("run_id") == run_id)
    if rows.is_empty():
        return ""
    latest = rows.filter((pl.col("attempt") == rows["attempt"][-1]) & (pl.col("number") > 0))
    words = []
    for row in latest.filter(pl.col("stage").is_in(["pull", "derive", "detect"])).to_dicts():
        count = (
            said(
                " ({row_count} {row_kind})",
                row_count=figure(row["row_count"], ","),
                row_kind=_KINDS.get(row["row_kind"], row["row_kind"]),
            )
            if row["row_count"] is not None
            else ""
        )
        words.append(
            said(
                "{stage} {took_s} s{count}",
                stage=_STAGES[row["stage"]],
                took_s=figure(row["took_s"], ".0f"),
                count=count,
            )
        )
    return joined(", ", words)


def _sensors_now(mill: Mill, ill: pl.DataFrame | None, period: Window) -> pl.DataFrame | None:
    """Add tags that are silent at the end of data, unless they were named already."""
    if ill is None:
        return None
    last = (period.end - timedelta(microseconds=1)).date()
    signals = {s.tag: s for s in mill.station.signals}
    ends = (
        lake_of(mill)
        .read_readings(last - ONE_DAY, last, list(signals))
        .group_by("tag")
        .agg(pl.col("ts_utc").max())
    )
    quiet = ends.filter(pl.col("ts_utc") < period.end - _SILENT).sort("ts_utc", "tag")
    rows = [
        {
            "tag": tag,
            "quantity": signals[tag].quantity,
            "place": signals[tag].place,
            "verdict": "silent",
            "days": 1,
            "text": f"no reading since {since.astimezone(mill.tz):%Y-%m-%d %H:%M}",
        }
        for tag, since in quiet.iter_rows()
    ]
    now = pl.DataFrame(rows, schema=ill.schema)
    return pl.concat([now, ill.filter(~pl.col("tag").is_in(now["tag"].to_list()))])
