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
from pipeline.words import clean

#: Tried once and quickly; what is not taken waits in the outbox.
_QUICK: Final = Patience(waits_s=())
#: How long the silence of the plant is told of.
_TOLD_FOR: Final = timedelta(days=7)
_ADVICE: Final = (
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
    local = f"{end.astimezone(mill.tz):%a %d %b %Y %H:%M}"
    lines = [
        f"No new readings of {clean(mill.name)} came since {local} (its own time).",
        "Where: the export of the plant's readings, the inbox, or the drive between them",
        "Next:  See that the export job runs and that its files reach the inbox. The next run then "
        "reads all that is missing.",
        f"The command lostpol health {mill.config_path.name} names all that is wrong, with cures.",
        _ADVICE,
    ]
    subject = f"No new readings from {_one_line(mill)} since {local}"
    try:
        _put(mill, subject, lines, ("silence", local))
        flush(mill, _QUICK)
    except (LostpolError, OSError, ValueError) as fault:
        log_event(mill, "notice of silence not sent", error=f"{type(fault).__name__}")


def _queue(mill: Mill, flow: str, error: BaseException) -> None:
    what, where, cure = _parts(mill, error)
    subject = f"No {flow} report from {_one_line(mill)} on {mill.local_day(now())}"
    lines = [
        f"The {flow} run of {clean(mill.name)} ended without its report.",
        f"What:  {what}",
        f"Where: {where}",
        f"Next:  {cure}",
        f"The command lostpol health {mill.config_path.name} names all that is wrong, with cures.",
        _ADVICE,
    ]
    _put(mill, subject, lines, (flow, what))


def _one_line(mill: Mill) -> str:
    """Name of the mill for a heading of mail, in which nothing may start a new one."""
    return " ".join(clean(mill.name, 60).split())


def _put(mill: Mill, subject: str, lines: Sequence[str], about: tuple[str, ...]) -> None:
    """Queue word of something, once a local day."""
    mail = mill.mail
    if mail is None:
        return
    today = mill.local_day(now())
    plain = "\n".join(lines) + "\n"
    page = "".join(f"<p>{html.escape(line)}</p>" for line in lines)
    parts = ("notice", mill.key, *about, str(today), mail.sender, *mail.recipients)
    name = name_of([part.encode("utf-8", "replace") for part in parts])
    message = message_of(mail, name, subject, page, plain)
    outbox_of(mill).put(name, message.as_bytes(), mail.recipients, subject, now())


def _parts(mill: Mill, error: BaseException) -> tuple[str, str, str]:
    """What, where and next, cleaned: file names and tags are untrusted text."""
    if isinstance(error, LostpolError):
        parts = (error.what, error.where, error.next_step)
    else:
        cure = "Run lostpol nightly by hand with --debug and report what it shows."
        parts = ("lostpol met a fault of its own.", f"{type(error).__name__}: {error}", cure)
    what, where, next_step = (clean(without_secrets(mill, part), 600) for part in parts)
    return what, where, next_step
