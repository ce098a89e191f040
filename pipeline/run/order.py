"""The order of stages in a nightly, weekly or backfill run.

The order is written once, here. A chain hands each stage to `step`: run from a terminal that
calls the stage, run under a scheduler it wraps the stage as a task. The result is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from pipeline.base import (
    ConfigError,
    DataError,
    Progress,
    Spread,
    Window,
    midnight,
    now,
    one_by_one,
    silent,
)
from pipeline.lake import RottenError, lake_of
from pipeline.mail import send_report
from pipeline.mill import Mill
from pipeline.present import write_night_report, write_season_report, write_week_report
from pipeline.pull import INBOX_NOTES, exports_in, hashed, still_arriving
from pipeline.replay import work_out_levers
from pipeline.report import Gap
from pipeline.run.alerts import alert_silence
from pipeline.run.attempts import Step, attempt
from pipeline.run.whole import Unread, kept_whole
from pipeline.sources import pull_source
from pipeline.stages import Judged, derive, detect, pull
from pipeline.store import store_of
from pipeline.words import counted, joined, said, silence_words

#: Readings older than this are not this morning's.
_FRESH: Final = timedelta(hours=26)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a chain did: what was judged and reported, files that wait, what was rotten."""

    judged: Judged
    period: Window
    report: Path
    waiting: tuple[Unread, ...] = ()
    mended: tuple[str, ...] = ()


def plainly(_name: str, stage: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401
    """Run a stage by calling it."""
    return stage(*arguments)


def nightly(
    mill: Mill, step: Step = plainly, progress: Progress = silent, wait_s: float = 0.0
) -> Outcome:
    """Pull what arrived, work out what changed, search, report on yesterday and this morning.

    Parameters
    ----------
    step : callable
        Runs one stage.
    progress : callable
        Told how far it is.
    wait_s : float
        How long to wait for another run on the same store [s].

    Raises
    ------
    DataError
        Some arrived files could not be read; the report was written without them.
    DeliveryError
        The report was written but could not be sent.
    """
    with attempt(mill, "nightly", step, wait_s) as timed:

        def night(rotten: list[Unread]) -> Outcome:
            unread, judged = _brought_up_to_date(mill, timed, "nightly", progress)
            period = night_of(mill, judged.window)
            return _finish(mill, timed, "nightly", judged, period, rotten + unread)

        return _kept_whole(mill, night)


def weekly(
    mill: Mill, step: Step = plainly, progress: Progress = silent, wait_s: float = 0.0
) -> Outcome:
    """Do as `nightly` does, and report on the last seven whole local days."""
    with attempt(mill, "weekly", step, wait_s) as timed:

        def week(rotten: list[Unread]) -> Outcome:
            unread, judged = _brought_up_to_date(mill, timed, "weekly", progress)
            # Weeks that have passed are kept: of a season under way only the last one is made anew.
            timed("levers", work_out_levers, mill, progress)
            period = week_of(mill, judged.window)
            return _finish(mill, timed, "weekly", judged, period, rotten + unread)

        # What rots in a folder is met within a week; an object store looks after its own.
        return _kept_whole(mill, week, thorough=isinstance(mill.lake_path, Path))


def _kept_whole(
    mill: Mill, work: Callable[[list[Unread]], Outcome], *, thorough: bool = False
) -> Outcome:
    """Carry out a run on a store kept whole; see `pipeline.run.whole`."""
    outcome, mended = kept_whole(mill, work, thorough=thorough)
    return replace(outcome, mended=mended)


def _brought_up_to_date(
    mill: Mill, timed: Step, flow: str, progress: Progress
) -> tuple[list[Unread], Judged]:
    """Read what is new and judge the season by it; tell what could not be read."""
    unread = timed("pull", pull_inbox, mill, progress)
    unread += timed("sources", pull_direct, mill, progress)
    timed("derive", derive, mill, None, progress)
    return unread, timed("detect", detect, mill, flow, None, progress)


def night_of(mill: Mill, window: Window) -> Window:
    """Period of the nightly report: the last local day that is over, and what came after it."""
    # Of data that end at midnight, the day just closed is the one to tell of.
    return _inside(window, mill.day_start_utc(mill.last_day_over(window.end)), window.end)


def week_of(mill: Mill, window: Window) -> Window:
    """Period of the weekly review: the last seven local days that are over."""
    last = mill.last_day_over(window.end)
    start, end = mill.day_span_utc(last - timedelta(days=6), last)
    return _inside(window, start, end)


def backfill(
    mill: Mill,
    first: date | None = None,
    last: date | None = None,
    step: Step = plainly,
    progress: Progress = silent,
    spread: Spread = one_by_one,
) -> Outcome:
    """Work out local days `first` to `last` anew, search the season so far, and report on them.

    The search always takes in every day worked out: however a season is split into backfills, the
    last one leaves the same findings.

    Without `first` or `last`, from the first or to the last day with readings.

    Raises
    ------
    ConfigError
        The days are in the wrong order or hold no readings.
    """
    with attempt(mill, "backfill", step, notice=False) as timed:

        def season(rotten: list[Unread]) -> Outcome:
            from_day, to_day = _chosen_days(mill, first, last)
            start, end = mill.day_span_utc(from_day, to_day)
            from_utc, to_utc = Window(start, end).days
            days = [from_utc + timedelta(days=n) for n in range((to_utc - from_utc).days + 1)]
            timed("derive", derive, mill, days, progress, spread)
            begun = min(from_day, mill.local_day(midnight(lake_of(mill).days()[0])))
            judged: Judged = timed("detect", detect, mill, "backfill", begun, progress, spread)
            period = _inside(judged.window, start, end)
            return _finish(mill, timed, "backfill", judged, period, rotten)

        return _kept_whole(mill, season, thorough=True)


def pull_inbox(mill: Mill, progress: Progress = silent) -> list[Unread]:
    """Pull files of the inbox that were not pulled before.

    Returns
    -------
    list of Unread
        Files that could not be read or are still arriving; the others are pulled all the same.
        A missing inbox counts as one.
    """
    if mill.inbox_path is None:
        return []
    if not mill.inbox_path.is_dir():
        return [Unread(mill.inbox_path, said("the inbox folder does not exist"))]
    store = store_of(mill)
    known = set(store.sources()["sha256"]) if store.path.exists() else set()
    hashes = hashed(exports_in(mill.inbox_path), mill.store_path / INBOX_NOTES)
    files = [path for path, sha256 in hashes.items() if sha256 not in known]
    arriving = still_arriving(files)
    unread = [
        Unread(path, said("still arriving ({how}); read by the next run", how=how), waits=True)
        for path, how in arriving.items()
    ]
    for path in files:
        if path in arriving:
            continue
        try:
            pull(mill, [path], progress, publish=False)
        except RottenError:
            raise
        except DataError as error:
            unread.append(Unread(path, error.what))
    return unread


def pull_direct(mill: Mill, progress: Progress = silent) -> list[Unread]:
    """Read the direct sources of a mill up to now.

    Returns
    -------
    list of Unread
        Sources and tags that could not be read; the others are read all the same.
    """
    unread = []
    for source in mill.sources:
        where = Path(source.label)
        try:
            result = pull_source(mill, source, progress=progress)
        except RottenError:
            raise
        except DataError as error:
            unread.append(Unread(where, error.what))
            continue
        unread += [
            Unread(where, said("{tag}: {why}", tag=tag, why=why))
            for tag, why in sorted(result.problems.items())
        ]
    return unread


def _chosen_days(mill: Mill, first: date | None, last: date | None) -> tuple[date, date]:
    """Local days to work out, within those with readings."""
    days = lake_of(mill).days()
    if not days:
        raise DataError(
            said("There are no readings yet."),
            str(mill.lake_path),
            said("Pull exports first: lostpol pull MILL FILES..."),
        )
    # A UTC day may begin on the local day before or end on the one after.
    from_day = first or days[0] - timedelta(days=1)
    to_day = last or days[-1] + timedelta(days=1)
    if last is None and from_day > to_day:
        raise ConfigError(
            said("There are no readings on or after {from_day}.", from_day=from_day),
            "--from",
            said(
                "Readings reach from {first} to {last} (UTC days); choose a day among them.",
                first=days[0],
                last=days[-1],
            ),
        )
    one = timedelta(days=1)
    if from_day <= to_day and not any(from_day <= d + one and d - one <= to_day for d in days):
        raise ConfigError(
            said(
                "There are no readings from {from_day} to {to_day}, so there is nothing to work "
                "out.",
                from_day=from_day,
                to_day=to_day,
            ),
            said("--from and --to"),
            said(
                "Readings reach from {first} to {last} (UTC days); choose days among them, or pull "
                "the missing exports.",
                first=days[0],
                last=days[-1],
            ),
        )
    if from_day > to_day:
        raise ConfigError(
            said(
                "The first day, {from_day}, comes after the last day, {to_day}.",
                from_day=from_day,
                to_day=to_day,
            ),
            said("--from and --to"),
            said(
                "Readings reach from {first} to {last} (UTC days); choose days among them.",
                first=days[0],
                last=days[-1],
            ),
        )
    return from_day, to_day


def _inside(window: Window, start: datetime, end: datetime) -> Window:
    """Cut a period to what was judged; a period outside it becomes the whole window."""
    start, end = max(start, window.start), min(end, window.end)
    return Window(start, end) if start < end else window


def _finish(
    mill: Mill, step: Step, name: str, judged: Judged, period: Window, unread: Sequence[Unread]
) -> Outcome:
    """Write the report, send it, and only then complain of files that could not be read."""
    gaps = [
        Gap(item.what or said("Readings of {file}", file=item.path.name), item.why)
        for item in unread
    ]
    if name != "backfill":
        gaps += _staleness(mill, judged.window.end)
    written = {"nightly": write_night_report, "weekly": write_week_report}
    write = written.get(name, write_season_report)
    report: Path = step("report", write, mill, period, gaps)
    if mill.mail is not None and name != "backfill":
        if name == "nightly" and _staleness(mill, judged.window.end):
            alert_silence(mill, judged.window.end)
        first = joined(" ", (gap.first for gap in gaps if gap.first))
        step("send", send_report, mill, report, judged.run_id, first)
    faults = [item for item in unread if not item.waits]
    if faults:
        raise DataError(
            counted(
                len(faults),
                "{n} source could not be read; the report was made without.",
                "{n} sources could not be read; the report was made without.",
            ),
            joined(
                "\n",
                [
                    *(said("{path}: {why}", path=item.path, why=item.why) for item in faults),
                    said("report: {path}", path=report),
                ],
            ),
            said("Put these files or the inbox right, then run the same command again."),
        )
    return Outcome(judged, period, report, tuple(item for item in unread if item.waits))


def _staleness(mill: Mill, end: datetime) -> list[Gap]:
    """Say so when the report rests on old readings, lest it be taken for this morning's."""
    moment = now()
    yesterday = mill.local_day(moment) - timedelta(days=1)
    if moment - end < _FRESH and mill.last_day_over(end) >= yesterday:
        return []
    local = f"{end.astimezone(mill.tz):%Y-%m-%d %H:%M}"
    why = said(
        "readings end at {local}; nothing newer had arrived when this report was made", local=local
    )
    return [Gap(said("This morning"), why, silence_words(end, moment, mill.tz))]
