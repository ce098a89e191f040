"""Looks at what is around the store: disk, clock, schedule, inbox, mail, direct sources."""

from __future__ import annotations

import os
import socket
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from pipeline.base import ConfigError, free_bytes, now
from pipeline.care.signs import Look, Sign, State
from pipeline.mail import outbox_of
from pipeline.mill import Mill
from pipeline.pull import exports_in
from pipeline.run import read_log

_MIB: Final = 2**20
#: A night writes some tens of MiB at most; the copy of the database and a report come on top.
_LEAST_FREE: Final = 200 * _MIB
_GOOD_FREE: Final = 2048 * _MIB
_DIAL_S: Final = 3.0
_CURE_CLOCK: Final = "Set the clock of this machine right and let it be kept by NTP."


def disk(mill: Mill) -> Iterator[Sign]:
    """See whether there is room for some more nights, for the store and for a lake elsewhere."""
    yield _room(mill.store_path)
    if isinstance(mill.lake, Path):
        yield _room(mill.lake)


def _room(folder: Path) -> Sign:
    free = free_bytes(folder)
    if free is None:
        return Sign("Disk", "look", "free space is not known", f"Look at {folder}.")
    what = f"{free / _MIB:,.0f} MiB free at {folder}"
    cure = "Make room: lostpol tidy MILL --dry-run lists what can go; [keep] says what may."
    state: State = "wrong" if free < _LEAST_FREE else "look" if free < _GOOD_FREE else "fine"
    return Sign("Disk", state, what, "" if state == "fine" else cure)


def clock(mill: Mill) -> Iterator[Sign]:
    """See whether the clock of this machine was set back since something was written."""
    files = [p for p in (mill.database_path, mill.store_path / "run.lock") if p.exists()]
    written = [datetime.fromtimestamp(path.stat().st_mtime, UTC) for path in files]
    written += [_moment(line.get("at")) for line in read_log(mill, 20)]
    last = max(written, default=None)
    if last is not None and last > now() + timedelta(minutes=2):
        back = last - now()
        what = f"behind what lostpol itself wrote, by {back.total_seconds() / 60.0:.0f} min"
        yield Sign("Clock", "wrong", what, _CURE_CLOCK)
    else:
        local = now().astimezone(mill.tz)
        yield Sign("Clock", "fine", f"{local:%Y-%m-%d %H:%M} at the mill ({mill.zone})")


def schedule(mill: Mill) -> Iterator[Sign]:
    """See whether the times of the schedule come once on every day of the coming year."""
    for kind, text in (("nightly", mill.schedule.nightly), ("weekly", mill.schedule.weekly)):
        odd = _odd_day(mill, text)
        if odd is not None:
            what = f"{kind} at {text} is skipped or comes twice on {odd}, when clocks change"
            cure = "Choose a time outside the hours that change, such as 05:00."
            yield Sign("Schedule", "look", what, cure)
            return
    what = f"nightly {mill.schedule.nightly}, weekly {mill.schedule.weekly_day} "
    yield Sign("Schedule", "fine", f"{what}{mill.schedule.weekly}, mill time")


def _odd_day(mill: Mill, text: str) -> str | None:
    """First day within a year on which a local time does not come exactly once."""
    today = mill.local_day(now())
    for later in range(366):
        day = today + timedelta(days=later)
        local = datetime.fromisoformat(f"{day} {text}").replace(tzinfo=mill.tz)
        twice = local.utcoffset() != local.replace(fold=1).utcoffset()
        if twice or local.astimezone(UTC).astimezone(mill.tz) != local:
            return str(day)
    return None


def inbox(mill: Mill) -> Iterator[Sign]:
    """See whether the inbox is there."""
    path = mill.inbox_path
    if path is None:
        if not mill.sources:
            cure = "Name [schedule] inbox, or a [[source]]; else pull by hand before each run."
            yield Sign("Inbox", "look", "none is described, so nightly runs read nothing new", cure)
        return
    if not path.is_dir():
        cure = "Make the folder, or mount the drive it lies on."
        yield Sign("Inbox", "wrong", f"{path} does not exist", cure)
    elif not os.access(path, os.R_OK | os.X_OK):
        cure = "Give the user who runs lostpol the right to read it."
        yield Sign("Inbox", "wrong", f"{path} cannot be read", cure)
    else:
        yield Sign("Inbox", "fine", f"{len(list(exports_in(path)))} files in {path}")


def mail(mill: Mill) -> Iterator[Sign]:
    """See whether the mail server can be reached, and whether anything waits."""
    if mill.mail is None:
        cure = "Add [mail] to the description to have reports and failures sent."
        yield Sign("Mail", "look", "nobody is described who gets it", cure)
        return
    counts = Counter(letter.state for letter in outbox_of(mill).letters())
    stuck = {state: counts[state] for state in ("waiting", "refused", "unsure") if counts[state]}
    if stuck:
        what = ", ".join(f"{n} {state}" for state, n in stuck.items())
        cure = "lostpol outbox MILL lists them; --send tries again, --again NAME lets one go."
        yield Sign("Outbox", "look", f"letters not sent: {what}", cure)
    user = mill.mail.user or os.environ.get("LOSTPOL_MAIL_USER")
    if user and not os.environ.get("LOSTPOL_MAIL_PASSWORD"):
        cure = "Set LOSTPOL_MAIL_PASSWORD where the schedule runs (see configs/README.md)."
        yield Sign("Mail", "wrong", "the password is not in this environment", cure)
    where = f"{mill.mail.host}, port {mill.mail.port}"
    try:
        socket.create_connection((mill.mail.host, mill.mail.port), timeout=_DIAL_S).close()
    except (OSError, UnicodeError) as error:
        cure = "See to the network or correct [mail]; letters wait in the outbox until then."
        yield Sign("Mail", "wrong", f"{where} does not answer: {error}", cure)
    else:
        yield Sign("Mail", "fine", f"{where} answers")


def sources(mill: Mill) -> Iterator[Sign]:
    """See whether the secrets of direct sources are there."""
    for source in mill.sources:
        try:
            source.address()
            source.password()
        except ConfigError as error:
            yield Sign("Source", "wrong", f"{source.label}: {error.what}", error.next_step)
        else:
            yield Sign("Source", "fine", f"{source.label}: described in full")


def _moment(text: object) -> datetime:
    try:
        return datetime.fromisoformat(str(text)).astimezone(UTC)
    except ValueError:  # a line that somebody else wrote
        return datetime.min.replace(tzinfo=UTC)


AROUND: Final[tuple[tuple[str, Look], ...]] = (
    ("Disk", disk),
    ("Clock", clock),
    ("Schedule", schedule),
    ("Inbox", inbox),
    ("Mail", mail),
    ("Source", sources),
)
