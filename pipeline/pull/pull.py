"""Pulling exports into the lake: every row is kept, merged or refused, and counted as such.

All files are read to the end before anything is stored. A file that cannot be read therefore
leaves the lake as it was. Between reading and storing, readings wait on disk by day, so memory
does not grow with the length of the record; a pull that is stopped goes on where it was
(``pipeline.pull.stage``), and the lake changes at one stroke (``pipeline.pull.commit``).
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import replace
from pathlib import Path
from typing import Final

from pipeline.base import Pace, Progress, StoppedError, silent
from pipeline.lake import Lake
from pipeline.pull.commit import Arrival, Plan, carry_out, open_plan, prepare
from pipeline.pull.known import Pulled, find_pulled, meanings, pulled_before, read_as
from pipeline.pull.ledger import PullResult
from pipeline.pull.mill import PullMill
from pipeline.pull.stage import Staged, stage, stage_key

#: How often progress is told [s].
_EVERY_S: Final = 0.2


def pull_files(
    mill: PullMill,
    files: Sequence[Path],
    progress: Progress = silent,
    *,
    in_full: bool = False,
    again: bool = False,
    record: Callable[[PullResult], None] = lambda _: None,
) -> PullResult:
    """Read export files and add their readings to the mill's lake.

    Parameters
    ----------
    mill : PullMill
    files : sequence of Path
        Exports, imported in this order (``pipeline.lake.merge`` tells which of two readings
        stays). With none, only a pull that was stopped is completed.
    progress : callable, optional
    in_full : bool
        Also files pulled before; they replace what is stored of their moments, even good by bad.
    again : bool
        Files pulled before are applied too: they were not kept, but written anew.
    record : callable, optional
        Told what was pulled once it is in the lake, a pull stopped before first; again after a
        stop until it returned.

    Returns
    -------
    PullResult
        Of these files, and the days that a stopped pull before it changed.

    Raises
    ------
    DataError
        A file cannot be read, or too much of it makes no sense; then nothing is stored.
    LakeError
        The lake cannot be reached, or takes no writing.
    """
    lake, incoming = Lake(mill.lake_path), mill.incoming_path
    lake.storage.make_ready()
    lake.clean_leftovers()
    earlier = open_plan(incoming) or Plan((), {}, {})
    if earlier.ledgers:
        carry_out(lake, incoming, earlier, record)
    exports = {stage_key(mill, path, in_full=in_full): path for path in files}
    wanted = {key: path for key, path in exports.items() if key not in earlier.ledgers}
    known = {} if in_full or again else _no_news(mill, lake, wanted)
    if known:
        record(PullResult((), tuple(pulled.ledger for pulled in known.values()), ()))
    wanted = {key: path for key, path in wanted.items() if key not in known}
    otherwise = _read_otherwise(mill, lake, wanted)
    plan = Plan((), {}, {})
    if wanted:
        with ThreadPoolExecutor(_workers(), "lostpol-days") as pool:
            staged = _stage_all(mill, wanted, pool, progress)
            arrivals = _arrivals(mill, lake, staged, wanted, anew=in_full or again)
            plan = prepare(lake, incoming, arrivals, pool, progress, in_full=in_full)
        carry_out(lake, incoming, plan, record)
    elif files:  # a stop may have left some of these, put in place but not removed
        shutil.rmtree(incoming, ignore_errors=True)
    return replace(_result(mill, exports, earlier, plan, known), read_otherwise=otherwise)


def _read_otherwise(mill: PullMill, lake: Lake, files: dict[str, Path]) -> tuple[str, ...]:
    """Names of those exports that were pulled before and are read in another way now."""
    found = ((path, pulled_before(lake.storage, path)) for path in files.values())
    return tuple(
        path.name
        for path, pulled in found
        if pulled is not None and pulled.read_as != read_as(mill, path)
    )


def _result(
    mill: PullMill, exports: dict[str, Path], earlier: Plan, plan: Plan, known: dict[str, Pulled]
) -> PullResult:
    """What became of exports: pulled now, by a pull that was stopped, or long before."""
    ledgers = earlier.ledgers | plan.ledgers
    ledgers |= {key: pulled.ledger.pulled_again(exports[key].name) for key, pulled in known.items()}
    found = earlier.notes | known | plan.notes
    tags = {tag for key in exports for tag in found[key].meanings}
    return PullResult(
        days_changed=tuple(sorted({*earlier.days_changed, *plan.days_changed})),
        sources=tuple(ledgers[key] for key in exports),
        missing_tags=tuple(sorted(mill.unit_changes.keys() - tags)),
    )


def unfinished(incoming: Path) -> bool:
    """Tell whether a pull was stopped after its plan was made and is not carried out yet."""
    return open_plan(incoming) is not None


def _no_news(mill: PullMill, lake: Lake, files: dict[str, Path]) -> dict[str, Pulled]:
    """Those of some exports that were pulled before and would leave all as it is."""
    found = {key: pulled_before(lake.storage, path) for key, path in files.items()}
    return {
        key: pulled
        for key, pulled in found.items()
        if pulled is not None and pulled.is_no_news(mill, lake, files[key])
    }


def _arrivals(
    mill: PullMill, lake: Lake, staged: Sequence[Staged], files: dict[str, Path], *, anew: bool
) -> list[Arrival]:
    """Exports with what each of them said before: in an earlier pull, or as a copy in this."""
    arrivals: list[Arrival] = []
    for source in staged:
        path, ledger = files[source.folder.name], source.ledger
        pulled = None if anew else find_pulled(lake.storage, ledger.size_bytes, ledger.sha256)
        before = pulled.tags_repeated(mill, path) if pulled else frozenset()
        if any(ledger.sha256 == other.staged.ledger.sha256 for other in arrivals):
            before = source.known_tags
        tags = meanings(mill, source.known_tags)
        arrivals.append(Arrival(source, read_as(mill, path), tags, before))
    return arrivals


def _stage_all(
    mill: PullMill, wanted: dict[str, Path], pool: ThreadPoolExecutor, progress: Progress
) -> list[Staged]:
    """Read all exports, several at a time, in the order in which they were named."""
    incoming = mill.incoming_path
    _forget_others(incoming, wanted)
    pace = Pace(progress, {key: _size(path) for key, path in wanted.items()})
    # Days are packed once: here where one export holds them whole, else when all are there.
    light = len(wanted) > 1
    with ThreadPoolExecutor(_workers(), "lostpol-files") as readers:
        work = {
            key: readers.submit(
                stage, mill, path, incoming / key, pool, pace.listener(key), light=light
            )
            for key, path in wanted.items()
        }
        try:
            while _still_reading(work, pace):
                pace.show()
        finally:
            pace.stop()
            for future in work.values():
                future.cancel()
    # A file that failed stops the others; its error comes before their being stopped.
    for future in work.values():
        if not future.cancelled() and not isinstance(future.exception(), StoppedError):
            future.result()
    return [future.result() for future in work.values()]


def _still_reading(work: dict[str, Future[Staged]], pace: Pace) -> bool:
    """Wait a moment; False once all files are read or one cannot be."""
    done, waiting = wait(work.values(), _EVERY_S, FIRST_EXCEPTION)
    for key, future in work.items():
        if future in done:
            pace.finished(key)
    return bool(waiting) and not any(future.exception() for future in done)


def _forget_others(incoming: Path, wanted: dict[str, Path]) -> None:
    """Remove exports read by an earlier pull that are not asked for now."""
    for folder in incoming.iterdir() if incoming.is_dir() else ():
        if folder.name not in wanted:
            shutil.rmtree(folder, ignore_errors=True)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _workers() -> int:
    """Threads that read or write: more than a few would only hold more memory."""
    return max(2, min(4, os.cpu_count() or 1))
