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
from pipeline.mail import STATE_WORDS, outbox_of
from pipeline.mail import State as LetterState
from pipeline.mill import Mill, Weekday
from pipeline.pull import exports_in
from pipeline.run import read_log
from pipeline.words import figure, joined, said

_MIB: Final = 2**20
#: A night writes some tens of MiB at most; the copy of the database and a report come on top.
_LEAST_FREE: Final = 200 * _MIB
_GOOD_FREE: Final = 2048 * _MIB
_DIAL_S: Final = 3.0
_WEEKDAYS: Final[dict[Weekday, str]] = {
    "monday": said("Monday").lower(),
    "tuesday": said("Tuesday").lower(),
    "wednesday": said("Wednesday").lower(),
    "thursday": said("Thursday").lower(),
    "friday": said("Friday").lower(),
    "saturday": said("Saturday").lower(),
    "sunday": said("Sunday").lower(),
}
_CURE_CLOCK: Final = said("Set the clock of this machine right and let it be kept by NTP.")


def disk(mill: Mill) -> Iterator[Sign]:
    """See whether there is room for some more nights, for the store and for a lake elsewhere."""
    yield _room(mill.store_path)
    if isinstance(mill.lake, Path):
        yield _room(mill.lake)


def _room(folder: Path) -> Sign:
    free = free_bytes(folder)
    if free is None:
        return Sign(
            said("Disk"),
            "look",
            said("free space is not known"),
            said("Look at {folder}.", folder=folder),
        )
    what = said("{mib} MiB free at {folder}", mib=figure(free / _MIB, ",.0f"), folder=folder)
    cure = said("Make room: lostpol tidy MILL --dry-run lists what can go; [keep] says what may.")
    state: State = "wrong" if free < _LEAST_FREE else "look" if free < _GOOD_FREE else "fine"
    return Sign(said("Disk"), state, what, "" if state == "fine" else cure)


def clock(mill: Mill) -> Iterator[Sign]:
    """See whether the clock of this machine was set back since something was written."""
    files = [p for p in (mill.database_path, mill.store_path / "run.lock") if p.exists()]
    written = [datetime.fromtimestamp(path.stat().st_mtime, UTC) for path in files]
    written += [_moment(line.get("at")) for line in read_log(mill, 20)]
    last = max(written, default=None)
    if last is not None and last > now() + timedelta(minutes=2):
        back = last - now()
        what = said(
            "behind what lostpol itself wrote, by {minutes} min",
            minutes=figure(back.total_seconds() / 60.0, ".0f"),
        )
        yield Sign(said("Clock"), "wrong", what, _CURE_CLOCK)
    else:
        local = now().astimezone(mill.tz)
        yield Sign(
            said("Clock"),
            "fine",
            said("{local} at the mill ({zone})", local=f"{local:%Y-%m-%d %H:%M}", zone=mill.zone),
        )


def schedule(mill: Mill) -> Iterator[Sign]:
    """See whether the times of the schedule come once on every day of the coming year."""
    for kind, text in (("nightly", mill.schedule.nightly), ("weekly", mill.schedule.weekly)):
        odd = _odd_day(mill, text)
        if odd is not None:
            what = said(
                "{kind} at {text} is skipped or comes twice on {odd}, when clocks change",
                kind=kind,
                text=text,
                odd=odd,
            )
            cure = said("Choose a time outside the hours that change, such as 05:00.")
            yield Sign(said("Schedule"), "look", what, cure)
            return
    what = said(
        "nightly {nightly}, weekly {day} {weekly}, mill time",
        nightly=mill.schedule.nightly,
        day=_WEEKDAYS[mill.schedule.weekly_day],
        weekly=mill.schedule.weekly,
    )
    yield Sign(said("Schedule"), "fine", what)


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
            cure = said(
                "Name [schedule] inbox, or a [[source]]; else pull by hand before each run."
            )
            yield Sign(
                said("Inbox"),
                "look",
                said("none is described, so nightly runs read nothing new"),
                cure,
            )
        return
    if not path.is_dir():
        cure = said("Make the folder, or mount the drive it lies on.")
        yield Sign(said("Inbox"), "wrong", said("{path} does not exist", path=path), cure)
    elif not os.access(path, os.R_OK | os.X_OK):
        cure = said("Give the user who runs lostpol the right to read it.")
        yield Sign(said("Inbox"), "wrong", said("{path} cannot be read", path=path), cure)
    else:
        yield Sign(
            said("Inbox"),
            "fine",
            said("{files} files in {path}", files=len(list(exports_in(path))), path=path),
        )


def mail(mill: Mill) -> Iterator[Sign]:
    """See whether the mail server can be reached, and whether anything waits."""
    if mill.mail is None:
        cure = said("Add [mail] to the description to have reports and failures sent.")
        yield Sign(said("Mail"), "look", said("nobody is described who gets it"), cure)
        return
    counts = Counter(letter.state for letter in outbox_of(mill).letters())
    states: tuple[LetterState, ...] = ("waiting", "refused", "unsure")
    stuck = {state: counts[state] for state in states if counts[state]}
    if stuck:
        what = joined(
            ", ",
            [said("{n} {state}", n=n, state=STATE_WORDS[state]) for state, n in stuck.items()],
        )
        cure = said("lostpol outbox MILL lists them; --send tries again, --again NAME lets one go.")
        yield Sign(said("Outbox"), "look", said("letters not sent: {what}", what=what), cure)
    user = mill.mail.user or os.environ.get("LOSTPOL_MAIL_USER")
    if user and not os.environ.get("LOSTPOL_MAIL_PASSWORD"):
        cure = said("Set LOSTPOL_MAIL_PASSWORD where the schedule runs (see configs/README.md).")
        yield Sign(said("Mail"), "wrong", said("the password is not in this environment"), cure)
    where = said("{host}, port {port}", host=mill.mail.host, port=mill.mail.port)
    try:
        socket.create_connection((mill.mail.host, mill.mail.port), timeout=_DIAL_S).close()
    except (OSError, UnicodeError) as error:
        cure = said("See to the network or correct [mail]; letters wait in the outbox until then.")
        yield Sign(
            said("Mail"),
            "wrong",
            said("{where} does not answer: {why}", where=where, why=str(error)),
            cure,
        )
    else:
        yield Sign(said("Mail"), "fine", said("{where} answers", where=where))


def sources(mill: Mill) -> Iterator[Sign]:
    """See whether the secrets of direct sources are there."""
    for source in mill.sources:
        try:
            source.address()
            source.password()
        except ConfigError as error:
            yield Sign(
                said("Source"),
                "wrong",
                said("{label}: {what}", label=source.label, what=error.what),
                error.next_step,
            )
        else:
            yield Sign(
                said("Source"), "fine", said("{label}: described in full", label=source.label)
            )


def _moment(text: object) -> datetime:
    try:
        return datetime.fromisoformat(str(text)).astimezone(UTC)
    except ValueError:  # a line that somebody else wrote
        return datetime.min.replace(tzinfo=UTC)


AROUND: Final[tuple[tuple[str, Look], ...]] = (
    (said("Disk"), disk),
    (said("Clock"), clock),
    (said("Schedule"), schedule),
    (said("Inbox"), inbox),
    (said("Mail"), mail),
    (said("Source"), sources),
)
