"""Word by mail that a scheduled report will not come, and why: through the outbox, once a day."""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from pipeline.base import LostpolError, now
from pipeline.mail import Patience, flush, message_of, name_of, outbox_of
from pipeline.mill import Mill
from pipeline.run.log import log_event, without_secrets
from pipeline.tongue import Tongue, tongue_of
from pipeline.words import Day, Said, clean, joined, said

#: Tried once and quickly; what is not taken waits in the outbox.
_QUICK: Final = Patience(waits_s=())
#: How long the silence of the plant is told of.
_TOLD_FOR: Final = timedelta(days=7)
_ADVICE: Final = said(
    "lostpol only advises. No report does not mean no loss: until the next one, watch pH, "
    "temperature and standing juice as you would without it, by your site's procedures."
)


def alert_failure(mill: Mill, flow: str, error: BaseException) -> None:
    """Queue and send word of a failed run; whatever stops that is logged and let go.

    The same failure of the same flow on the same local day is one message.
    """
    if mill.mail is None or isinstance(error, KeyboardInterrupt | GeneratorExit):
        return
    try:
        _queue(mill, flow, error)
        flush(mill, _QUICK)
    except (LostpolError, OSError, ValueError) as fault:
        log_event(mill, "failure notice not sent", flow=flow, error=f"{type(fault).__name__}")


def alert_silence(mill: Mill, end: datetime) -> None:
    """Queue and send word that no new readings came, each morning of the first week.

    Last night's report again is no news, so that without this a dead export would be silence. A
    mill that stands still for longer between seasons is not told every morning.
    """
    if mill.mail is None or now() - end > _TOLD_FOR:
        return
    ended = end.astimezone(mill.tz)
    day = Said(f"{ended:%a %d %b %Y}", Day(ended.date(), with_year=True))
    local = joined(" ", (day, f"{ended:%H:%M}"))
    lines = [
        said(
            "No new readings of {mill} came since {local} (its own time).",
            mill=clean(mill.name),
            local=local,
        ),
        said("Where: the export of the plant's readings, the inbox, or the drive between them"),
        said(
            "Next:  See that the export job runs and that its files reach the inbox. The next run "
            "then reads all that is missing."
        ),
        _health_words(mill),
        _ADVICE,
    ]
    subject = said("No new readings from {mill} since {local}", mill=_one_line(mill), local=local)
    try:
        _put(mill, subject, lines, ("silence", local))
        flush(mill, _QUICK)
    except (LostpolError, OSError, ValueError) as fault:
        log_event(mill, "notice of silence not sent", error=f"{type(fault).__name__}")


def _queue(mill: Mill, flow: str, error: BaseException) -> None:
    what, where, cure = (_told(mill, part) for part in _parts(error))
    subject = said(
        "No {flow} report from {mill} on {day}",
        flow=flow,
        mill=_one_line(mill),
        day=mill.local_day(now()),
    )
    lines = [
        said(
            "The {flow} run of {mill} ended without its report.", flow=flow, mill=clean(mill.name)
        ),
        said(
            "What:  {what}\nWhere: {where}\nNext:  {next_step}",
            what=what,
            where=where,
            next_step=cure,
        ),
        _health_words(mill),
        _ADVICE,
    ]
    _put(mill, subject, lines, (flow, _cleaned(mill, _parts(error)[0])))


def _health_words(mill: Mill) -> str:
    return said(
        "The command lostpol health {file} names all that is wrong, with cures.",
        file=mill.config_path.name,
    )


def _one_line(mill: Mill) -> str:
    """Name of the mill for a heading of mail, in which nothing may start a new one."""
    return " ".join(clean(mill.name, 60).split())


def _put(mill: Mill, subject: str, lines: Sequence[str], about: tuple[str, ...]) -> None:
    """Queue word of something, once a local day."""
    mail = mill.mail
    if mail is None:
        return
    today = mill.local_day(now())
    tongue = _tongue(mill)
    told = [line for text in lines for line in str(tongue(text)).split("\n")]
    plain = "\n".join(told) + "\n"
    page = "".join(f"<p>{html.escape(line)}</p>" for line in told)
    parts = ("notice", mill.key, *about, str(today), mail.sender, *mail.recipients)
    name = name_of([part.encode("utf-8", "replace") for part in parts])
    heading = str(tongue(subject))
    message = message_of(mail, name, heading, page, plain)
    outbox_of(mill).put(name, message.as_bytes(), mail.recipients, heading, now())


def _parts(error: BaseException) -> tuple[str, str, str]:
    """What, where and next of any error."""
    if isinstance(error, LostpolError):
        return error.what, error.where, error.next_step
    cure = said("Run lostpol nightly by hand with --debug and report what it shows.")
    return said("lostpol met a fault of its own."), f"{type(error).__name__}: {error}", cure


def _told(mill: Mill, part: str) -> str:
    """A part of an error in the tongue of the mill, then cleaned."""
    return _cleaned(mill, str(_tongue(mill)(part)))


def _cleaned(mill: Mill, part: str) -> str:
    """Without secrets and harmless: file names and tags are untrusted text."""
    return clean(without_secrets(mill, part), 600)


def _tongue(mill: Mill) -> Tongue:
    """How the mill's readers are spoken to; words of another tongue are loaded when needed."""
    return tongue_of(mill.reports.language)
