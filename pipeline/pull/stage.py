"""One export read to its end, its readings waiting on disk for the lake.

A finished export leaves a record beside its readings. A pull that is stopped and started again
finds the record and does not read that export a second time, unless the export, the mill's
description of exports or lostpol itself changed.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import polars as pl

from pipeline.base import DataError, joined, said
from pipeline.exports import export_readings, quick_pieces
from pipeline.files import NotPlainError, explained
from pipeline.lake import Columns, DayParts, Part, Tally, frame_bytes, reason_words, refused_frame
from pipeline.layouts import layout_for
from pipeline.pull.known import file_hash, meanings, read_as
from pipeline.pull.ledger import SourceLedger, ledger_from, ledger_record, write_record
from pipeline.pull.mill import PullMill
from pipeline.pull.sense import require_known_tags, require_one_value

RECORD: Final = "finished.json"
REFUSED: Final = "refused.parquet"
#: Told the rows read so far of an export, and the bytes read where they are known.
OnRead = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Staged:
    """An export read to its end.

    Attributes
    ----------
    folder : Path
        Holds its parts.
    ledger : SourceLedger
        Rows read and refused; of kept and merged only what the export repeats itself.
    parts : tuple of Part
        Its readings, by day.
    known_tags : frozenset of str
        Tags of the mill met in it.
    """

    folder: Path
    ledger: SourceLedger
    parts: tuple[Part, ...]
    known_tags: frozenset[str]


def stage_key(mill: PullMill, path: Path, *, in_full: bool) -> str:
    """Name for an export as it is now, read by this lostpol for this mill.

    Raises
    ------
    DataError
        There is no such file, or it may not be looked at.
    """
    try:
        facts = path.stat()
    except OSError:
        return "absent"  # the reader says what is wrong with it
    entries = [
        str(path.resolve()),
        facts.st_size,
        facts.st_mtime_ns,
        facts.st_ino,
        [read_as(mill, path), in_full],
        mill.exports.model_dump_json(),
        sorted(meanings(mill, mill.unit_changes).items()),
    ]
    return hashlib.sha256(json.dumps(entries).encode()).hexdigest()[:32]


def stage(
    mill: PullMill,
    path: Path,
    folder: Path,
    pool: Executor,
    on_read: OnRead,
    *,
    light: bool = False,
) -> Staged:
    """Read one export, or find it read already; its parts are `light` as ``DayParts`` has it.

    Raises
    ------
    DataError
        The file cannot be read, or too much of it makes no sense.
    """
    with suppress(OSError, ValueError, KeyError, TypeError):
        return _found(folder)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    # Hashing takes as long as a good part of the reading, and can go on beside it.
    sha256 = pool.submit(file_hash, path)
    try:
        tally, days, parts = _read_into(mill, path, (folder, light), pool, on_read)
        with explained(str(path)):  # it may have gone away in the meantime
            ledger = _ledger(mill, path, tally, days, parts, sha256.result())
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    if tally.refused_rows:
        _write_refused(folder / REFUSED, refused_frame(path.name, tally.refused_rows))
    write_record(folder / RECORD, _record(ledger, parts, tally))
    return Staged(folder, ledger, tuple(parts), frozenset(tally.known_tags))


def _write_refused(path: Path, rows: pl.DataFrame) -> None:
    """Write refused rows and see them on disk: the lake takes this very file."""
    with path.open("wb") as file:
        file.write(frame_bytes(rows))
        file.flush()
        os.fsync(file.fileno())


def _read_into(
    mill: PullMill, path: Path, into: tuple[Path, bool], pool: Executor, on_read: OnRead
) -> tuple[Tally, DayParts, list[Part]]:
    """Read an export into parts: the quick way, or from the start the thorough way."""
    folder, light = into
    for read in (_quickly, _thoroughly):
        layout = layout_for(path, mill.exports.layout)
        best = layout is not None and layout.repeats == "best"
        tally, days = Tally(), DayParts(folder, pool, best_of_two=best, light=light)
        try:
            for piece, bytes_read in read(mill, path, tally, days, pool):
                if isinstance(piece, Columns):
                    days.add(piece)
                else:
                    days.add_frame(piece)
                on_read(tally.rows, bytes_read)
            _require_sense(mill, path, tally)
            return tally, days, require_one_value(mill, path, days.finish(), tally)
        except NotPlainError:
            days.drop()
        except BaseException:
            days.drop()
            raise
    raise AssertionError("the thorough way reads every export or says why not")


def _quickly(
    mill: PullMill, path: Path, tally: Tally, days: DayParts, pool: Executor
) -> Iterator[tuple[Columns | pl.DataFrame, int]]:
    layout = layout_for(path, mill.exports.layout)
    return quick_pieces(path, layout, mill, tally, (days.tags, days.reasons), pool)


def _thoroughly(
    mill: PullMill, path: Path, tally: Tally, _days: DayParts, _pool: Executor
) -> Iterator[tuple[Columns | pl.DataFrame, int]]:
    layout = layout_for(path, mill.exports.layout)
    return ((readings, 0) for readings in export_readings(path, layout, mill, tally))


def _require_sense(mill: PullMill, path: Path, tally: Tally) -> None:
    """Refuse a file of which too much could not be read, or nothing is of the mill's."""
    require_known_tags(path, tally)
    if tally.unreadable * 100.0 > tally.rows * mill.exports.most_refused_pct:
        raise DataError(
            said(
                "{unreadable} of {rows} readings have a time, tag or value that cannot be read.",
                unreadable=tally.unreadable,
                rows=tally.rows,
            ),
            said("{path}\n{refusals}", path=path, refusals=_refusals(tally)),
            said(
                "Describe this kind of file in an [[exports.layout]] (time_format, decimal, "
                "no_result_words), or raise exports.most_refused_pct."
            ),
        )


def _refusals(tally: Tally) -> str:
    """Counts of what could not be read, in words."""
    counts = {**counted(tally.refused), **counted(tally.bad)}
    return joined(
        ", ",
        [
            said("{reason}: {count}", reason=reason_words(reason), count=count)
            for reason, count in counts.items()
        ],
    )


def _found(folder: Path) -> Staged:
    """Export that an earlier pull read to its end."""
    record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    parts = tuple(Part(date.fromisoformat(day), *rest) for day, *rest in record["parts"])
    for part in parts:
        (folder / part.name).stat()
    return Staged(folder, ledger_from(record["ledger"]), parts, frozenset(record["known_tags"]))


def _record(ledger: SourceLedger, parts: list[Part], tally: Tally) -> dict[str, Any]:
    return {
        "ledger": ledger_record(ledger),
        "parts": [[p.day.isoformat(), p.name, p.rows, p.merged, p.conflicts] for p in parts],
        "known_tags": sorted(tally.known_tags),
    }


def _ledger(
    mill: PullMill, path: Path, tally: Tally, days: DayParts, parts: list[Part], sha256: str
) -> SourceLedger:
    """What is known before the readings meet the lake."""
    layout = layout_for(path, mill.exports.layout)
    first, last = days.span() or (None, None)
    return SourceLedger(
        name=path.name,
        sha256=sha256,
        size_bytes=path.stat().st_size,
        layout=layout.name if layout else "",
        rows_read=tally.rows,
        kept=0,
        merged=sum(part.merged for part in parts),
        conflicts=sum(part.conflicts - len(part.rivals.moments) for part in parts),
        refused=counted(tally.refused),
        bad=counted(tally.bad),
        tags_not_in_mill=tuple(sorted(tally.unknown_tags)),
        first_utc=first,
        last_utc=last,
        notes=tuple(tally.notes),
    )


def counted(counts: Mapping[str, int]) -> dict[str, int]:
    """Counts above zero, by name."""
    return {name: counts[name] for name in sorted(counts) if counts[name]}
